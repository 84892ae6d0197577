"""The neutral channel map: channels, ports, and the patches between their slots.

A map may hold contradictions (two patches into one slot, a slot past the end of its port): a broken
sheet must be representable. Refused is only what would make a map meaningless: a patch, entry or
remark at a port that does not exist, a slot number below 1, two channels or two ports with one id.
"""

from chanbridge.model.parts import (
    AUDIENCES,
    LISTED,
    MOST_SLOTS,
    OPEN,
    OTHER_SIDE,
    Audience,
    Channel,
    Entry,
    Extra,
    Kind,
    Line,
    ModeField,
    Pair,
    Patch,
    Permission,
    Port,
    PortKind,
    Reserved,
    Row,
    Side,
    Slot,
    Trace,
    channels_of,
    each,
)
from chanbridge.model.whole import ChannelMap

__all__ = [
    "AUDIENCES",
    "LISTED",
    "MOST_SLOTS",
    "OPEN",
    "OTHER_SIDE",
    "Audience",
    "Channel",
    "ChannelMap",
    "Entry",
    "Extra",
    "Kind",
    "Line",
    "ModeField",
    "Pair",
    "Patch",
    "Permission",
    "Port",
    "PortKind",
    "Reserved",
    "Row",
    "Side",
    "Slot",
    "Trace",
    "channels_of",
    "each",
]
