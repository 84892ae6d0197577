"""Two lists side by side: what is the same channel, and what is different about it."""
