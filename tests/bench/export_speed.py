"""How fast a backlog goes to a server on loopback: victoria-metrics by v2, influxd by v1.

    python tests/bench/export_speed.py [READINGS]

Prints points a second from the journal to the last answer, and how many the follower itself makes
in a second of CPU time, which says more where other work goes on beside it. No assertion: speed
belongs to the machine.
"""

import sys
import tempfile
import time
from pathlib import Path

from brineward.clock import MachineClock
from brineward.followers.held_back import answered_of
from brineward.journal import Journal
from brineward.service.backlog import cursor_of
from brineward.service.exporting import Exporting
from export_kills import fill, held, settings_for
from export_servers import Influx1, Victoria


def main() -> None:
    """Fill a journal, send it, and print how long that took."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 300_000
    for kind in (Victoria, Influx1):
        with tempfile.TemporaryDirectory() as folder:
            server = kind(Path(folder) / "server")
            server.start()
            try:
                settings = settings_for(Path(folder), server)
                with Journal.open(settings.journal.path) as journal:
                    for start in range(0, count, 10_000):
                        fill(journal, start, 10_000)
                exporting = Exporting(settings, MachineClock())
                began, cpu = time.perf_counter(), time.process_time()
                exporting.start()
                with Journal.open(settings.journal.path, read_only=True) as journal:
                    last = journal.ordering.last_seq()
                    while journal.cursors.at(answered_of(cursor_of("agency"))) < last:
                        time.sleep(0.05)
                seconds, cpu = time.perf_counter() - began, time.process_time() - cpu
                exporting.stop()
                held(server, count)
            finally:
                server.kill()
        print(
            f"{kind.__name__}: {count} points in {seconds:.1f} s, {count / seconds:,.0f} a second; "
            f"the follower's own share {cpu:.1f} s of CPU, {count / cpu:,.0f} a second"
        )


if __name__ == "__main__":
    main()
