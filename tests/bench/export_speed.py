"""How fast a backlog goes to a server on loopback: victoria-metrics by v2, influxd by v1.

    python tests/bench/export_speed.py [READINGS]

Prints points a second from the journal to the last answer. No assertion: speed belongs to the
machine.
"""

import sys
import tempfile
import time
from pathlib import Path

from brineward.clock import MachineClock
from brineward.journal import Journal
from brineward.service.exporting import Exporting
from export_kills import fill, held, settings_for, wait_until_sent
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
                began = time.perf_counter()
                exporting.start()
                wait_until_sent(settings)
                seconds = time.perf_counter() - began
                exporting.stop()
                held(server, count)
            finally:
                server.kill()
        print(
            f"{kind.__name__}: {count} points in {seconds:.1f} s, {count / seconds:,.0f} a second"
        )


if __name__ == "__main__":
    main()
