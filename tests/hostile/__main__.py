"""`python -m tests.hostile --count 10000`: prints the table; exit code 1 if anything went wrong."""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

from tests.hostile.attack import AT_ONCE, LONGEST_S, Tally, attack
from tests.hostile.crowd import MOST, Crowd, crowds
from tests.hostile.photographs import SEED
from tests.hostile.server import running


def main() -> int:
    """Attack a server with the shipped model."""
    parser = argparse.ArgumentParser(prog="python -m tests.hostile", description=__doc__)
    parser.add_argument("--count", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--crowd", type=int, default=MOST, help="connections of strangers; 0: none")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        crowd = list(crowds(Path(folder), most=given.crowd)) if given.crowd else []
    sys.stdout.write(crowd_table(crowd))
    with tempfile.TemporaryDirectory() as folder, running(Path(folder) / "data") as server:
        tally = attack(server, given.count, seed=given.seed, shown=True)
        messages = server.log.read_text("utf-8", "replace")
    sys.stdout.write(table(tally))
    faults = tally.faults + [fault for each in crowd for fault in each.faults]
    if "Traceback" in messages:
        faults.append("the server logged:\n" + messages[-6_000:])
    for fault in faults[:50]:
        sys.stdout.write(f"FAULT {fault}\n")
    return 1 if faults else 0


def crowd_table(crowd: list[Crowd]) -> str:
    """Return what strangers held and how the laptop fared meanwhile, as a table in Markdown."""
    lines = [
        "| strangers | tried | connections held | laptop: answers | longest without | most memory "
        "| log | |",
        "|---|--:|--:|--:|--:|--:|--:|---|",
    ]
    lines += [
        f"| {each.what} | {each.tried} | {each.held} | {each.answers} | {each.silence_s:.1f} s | "
        f"{each.peak_mb:.0f} MB | {each.log_bytes / 1e6:.2f} MB | {each.note} |"
        for each in crowd
    ]
    return "\n".join(lines) + "\n\n"


def table(tally: Tally) -> str:
    """Return what happened as a table in Markdown."""
    lines = [
        "| upload | sent | kept, cleaned | refused in words | connection closed | slowest answer |",
        "|---|---|---|---|---|---|",
    ]
    for kind in sorted(tally.sent, key=lambda each: -tally.sent[each]):
        name = tally.slowest_name[kind]
        slowest = f"{tally.slowest[kind]:.2f} s" + (f" ({name})" if name else "")
        lines.append(
            f"| {kind} | {tally.sent[kind]} | {tally.kept[kind]} | {tally.refused[kind]} | "
            f"{tally.closed[kind]} | {slowest} |"
        )
    longest = max((each.seconds for each in tally.again), default=0.0)
    worked = max((each.worked_s for each in tally.again), default=0.0)
    lines.append(
        f"\n{sum(tally.sent.values())} uploads, {AT_ONCE} at a time, in {tally.seconds:.0f} s. "
        f"{len(tally.again)} answers took over {LONGEST_S:.0f} s; sent again alone, the slowest of "
        f"them took {longest:.1f} s, of which the server worked {worked:.1f} s. Most memory "
        f"resident {tally.peak_mb:.0f} MB, afterwards {tally.after_mb:.0f} MB. Photos stored "
        f"{tally.stored}; traces of metadata in what is stored: {len(tally.traces)}.\n"
    )
    return "\n".join(lines)


if __name__ == "__main__":
    sys.exit(main())
