"""The front door: HTTP, access, problems, files, commands."""
