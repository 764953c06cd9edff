"""Several phones, a server and a person, and everything that can go wrong between them."""
