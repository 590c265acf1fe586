"""A writer to be killed: commits numbered batches for ever, telling each after its commit.

python writer.py JOURNAL BATCH_SIZE FIRST_BATCH
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from brineward.journal import Journal
from brineward.readings.outputs import Step
from journal.samples import T0, alarm, derived, reading, text


def steps_of(batch: int, size: int) -> list[Step]:
    """One batch: readings, the last of which raised an alarm, a derived value and a text."""
    first = batch * size
    steps = [Step(reading(first + n, float(batch)), ()) for n in range(size - 1)]
    last = first + size - 1
    told = (derived(last), alarm(last, number=batch), text(batch, last))
    return [*steps, Step(reading(last, float(batch)), told)]


def main() -> None:
    """Commit until killed."""
    path, size, batch = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
    with Journal.open(path, service=True) as journal:
        print("open", flush=True)
        while True:
            waiting = [number for number, _ in journal.inbox.waiting()]
            journal.commit(
                steps_of(batch, size), states={"tern-hollow": b"%d" % batch}, inbox_done=waiting
            )
            journal.inbox.post(reading(batch, received=T0))
            print(batch, flush=True)
            batch += 1


if __name__ == "__main__":
    main()
