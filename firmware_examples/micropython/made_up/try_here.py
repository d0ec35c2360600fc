"""Run the probe's program on a computer, under Python or MicroPython, with made-up sensors.

    python made_up/try_here.py HOST PORT USER SECRET PROBE READINGS FOLDER [confirm]

Takes the readings first, as after a week without a network, then delivers them, trying again
until nothing waits. Prints how many tries it took.
"""

import sys
import time

HERE = sys.argv[0].rsplit("/", 1)[0] if "/" in sys.argv[0] else "."
sys.path.insert(0, HERE + "/..")
sys.path.insert(0, HERE)

import settings  # noqa: E402

TRIES = 50
FIRST_S = 1780000000


def run(host, port, user, secret, probe, readings, folder, confirm=""):
    """Set the settings, fill the backlog, deliver."""
    settings.HOST, settings.PORT, settings.USER, settings.SECRET = host, int(port), user, secret
    settings.PROBE, settings.CONFIRM = probe, confirm == "confirm"
    import main
    from backlog import Backlog

    minutes = iter(range(FIRST_S, FIRST_S + 60 * int(readings) + 60, 60))
    main.now_s = lambda: next(minutes)
    backlog = Backlog(folder)
    for _ in range(int(readings) - 1):
        main.take_reading(backlog)
    tries = 1
    main.take_reading(backlog)
    main.take_reading = lambda backlog: None
    while not main.once(backlog) and tries < TRIES:
        time.sleep(0.02)
        tries += 1
    print("tries", tries, "waiting", len(backlog.waiting))


run(*sys.argv[1:])
