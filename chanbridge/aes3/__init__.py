"""AES3 channel status: the 192 bits that travel beside the samples of a channel, and say what it is."""
