"""chanbridge from Python, cell by cell: open it as a notebook, or run it in a clone: python examples/notebook.py

The cells begin with # %%, which notebook editors know. pandas is needed for the last one: pip install '.[frame]'
"""

# %% Read a sheet of any kind: a map, and a ledger that says what became of every row
from pathlib import Path

from chanbridge import api

SHOW = "examples/winter-concert"
box_a, box_b = api.read(f"{SHOW}/box-a.csv"), api.read(f"{SHOW}/box-b.xml")
for box in (box_a, box_b):
    print(box.source, box.verdicts())
print(*box_a.layout.items(), sep="\n")  # field → the heading it was read from

# %% What was not understood, or was decided for you
for problem in (*box_a.problems, *box_b.problems):
    print(problem)

# %% Put both boxes onto one AES10 feed of 64 channels at 48 kHz
feed = api.merge(box_a, box_b, onto="64@48000")
print(feed.plan.why)
for line in feed.map.lines("feed")[:8]:
    print(line.number, line.channel.name if line.channel else "", line.box, line.socket)

# %% Who gives way, and why
names = {channel.id: channel.name for box in (box_a, box_b) for channel in box.map.channels}
for left in feed.plan.left_out:
    print(names[left.channel], "-", left.reason)

# %% The truck's sheet; the ending says the kind of file
Path("out").mkdir(exist_ok=True)
api.write(feed.map, "out/truck.xlsx", "feed")

# %% Where the stream desk's own list differs from front-of-house
found = api.compare(api.read(f"{SHOW}/front-of-house.csv"), api.read(f"{SHOW}/stream.csv"))
print(found.same, "channels are the same")
for change in found.changes:
    print(change.kind, "-", change.message)

# %% What is wrong with the whole show, the errors
for finding in api.check(SHOW).findings:
    if finding.severity == "error":
        print(finding.rule, finding.where, finding.message, finding.caution, sep="\n  ")

# %% Whether the paper loses nothing on its way; it proves no cable
proof = api.prove(SHOW)
print(proof.holds, len(proof.slots), "slots as printed")

# %% The channels as a frame, and what needs phantom, counted by transducer
frame = api.to_frame(box_a.map)
print(frame[frame["Phantom"] == "on"].groupby("Transducer")["Name"].count())

# %% A frame that was changed goes back into a sheet
frame.loc[frame["Name"] == "Ana", "Name"] = "Anna"
again = api.from_frame(frame)
api.write(again.map, "out/box-a.csv")
print([change.message for change in api.compare(box_a, again).changes])
