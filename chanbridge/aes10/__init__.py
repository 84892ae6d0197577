"""AES10 frames, bit for bit: samples to subframes to the line code, and back.

`Mode` says how a link is run. `encode_subframes` and `decode_subframes` turn samples into the 32-bit words of
the link and back, `encode_line` and `decode_line` turn the words into its bits and back; `LineEncoder` and
`LineDecoder` do the same piece by piece.
"""

from chanbridge.aes10.framing import Place
from chanbridge.aes10.linecode import LineEncoder, encode_line
from chanbridge.aes10.receive import Break, Line, LineDecoder, LineReport, decode_line
from chanbridge.aes10.subframe import Irregularity, Subframes, decode_subframes, encode_subframes
from chanbridge.mode import Mode

__all__ = [
    "Break",
    "Irregularity",
    "Line",
    "LineDecoder",
    "LineEncoder",
    "LineReport",
    "Mode",
    "Place",
    "Subframes",
    "decode_line",
    "decode_subframes",
    "encode_line",
    "encode_subframes",
]
