"""One neutral channel map for live sound and broadcast; from Python, use chanbridge.api."""

__version__ = "0.1.0"
