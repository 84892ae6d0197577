"""What falls silent when something is lost, what to bring, and how big a system must be."""
