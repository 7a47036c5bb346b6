"""A studio of our own invention: clients, artwork drawn by code, and one run of the daemon over it."""
