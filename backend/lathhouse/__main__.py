"""`python -m lathhouse`."""

from lathhouse.cli import main

main()
