"""What must hold whatever goes wrong: odd input, a kill, a full disk, a folder that is closed, an odd name."""
