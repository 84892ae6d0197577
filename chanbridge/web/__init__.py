"""The crew's page: the map on every phone in the room, late changes, and the line check done together."""
