"""A grid of text cells becomes a channel map, and a map becomes a grid of text cells."""
