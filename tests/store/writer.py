"""A program that keeps jobs and trials until it is killed, and says after each that it was kept."""

import random
import sys

from coilwright.store.opening import open_store
from coilwright.store.records import TrialRecord


def say(line):
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def main(place, name, seed, most=10**9):
    chance = random.Random(seed)
    with open_store(place) as store:
        for k in range(most):
            kept = store.keep_job(
                name, f"format = 1\n# {name} {seed} {k}\n" + "x" * chance.randrange(20_000), note=f"{seed}"
            )
            say(f"version {kept.number} {kept.digest}")
            trace = chance.randbytes(chance.choice((0, 500, 200_000)))
            sheet = store.add_trial(TrialRecord(name, coil=f"{seed}.{k}", trace=trace, trace_name="t.bin"))
            say(f"trial {sheet.number} {seed}.{k} {len(trace)}")


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], int(sys.argv[3]), *(int(a) for a in sys.argv[4:]))
