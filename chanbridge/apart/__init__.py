"""What is done in a process of its own: opening files that can be built to end or exhaust the process that does."""
