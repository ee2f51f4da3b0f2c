"""Whether the desk keeps pace for long, by hand: `python -m tests.practice.pace --minutes 30`.

A train that nobody brakes runs at real time, again and again, one socket drives and ten look on.
Printed: what the desk says of its own frames, and beside it how late a process was that wakes up as
often and works as long: what this machine and its load lets anybody wait.
"""

import argparse
import re
import signal
import subprocess
import sys
import tempfile
import threading
import time
from contextlib import ExitStack

from tests.practice.desk import say
from tests.practice.test_desk_browser import TIMER, drain
from websockets.sync.client import connect

from slipbench.ground.caution import CAUTION

LONGEST_RUN = 300.0
"""Of one run: the train comes to no end in it. [s]"""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=30.0)
    asked = parser.parse_args()
    words = [sys.executable, "-m", "slipbench", "practice", "holding", "--no-browser", "--out"]
    signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell may have it ignored
    timer = TIMER.replace("60.0", f"{60.0 * asked.minutes}")
    with tempfile.TemporaryDirectory() as folder, ExitStack() as stack:
        told = stack.enter_context(tempfile.TemporaryFile("w+"))  # a pipe nobody reads fills up
        desk = subprocess.Popen([*words, folder], stdout=subprocess.PIPE, stderr=told, text=True)
        stack.callback(desk.kill)
        assert desk.stdout is not None
        text = ""
        while CAUTION not in text:
            text += desk.stdout.readline()
        drive, _, watch = re.findall(r"http://[^ ]+/", text)
        origin = drive.rpartition("/")[0].rpartition("/")[0]
        sockets = [connect(f"{watch}live".replace("http", "ws"), origin=origin) for _ in range(10)]
        driver = connect(f"{drive}live".replace("http", "ws"), origin=origin)
        for socket in (*sockets, driver):
            stack.enter_context(socket)
            threading.Thread(target=drain, args=(socket,), daemon=True).start()
        say(driver, do="hello", id="pace")
        beside = subprocess.Popen([sys.executable, "-c", timer], stdout=subprocess.PIPE, text=True)
        end = time.monotonic() + 60.0 * asked.minutes
        while time.monotonic() < end:
            say(driver, do="begin", name="pace")
            time.sleep(max(0.0, min(LONGEST_RUN, end - time.monotonic())))
            say(driver, do="end")
            time.sleep(5.0)  # the debrief is drawn
            say(driver, do="again")
            time.sleep(1.0)
        late = float(beside.communicate()[0])
        desk.send_signal(signal.SIGINT)
        desk.communicate(timeout=60)
        told.seek(0)
        lines = told.read().splitlines()
        print(f"{len(lines)} lines of log; the last with a pace:")
        print(next((line for line in reversed(lines) if "pace:" in line), lines[-3:]))
        print(f"a process that works as much was {1e3 * late:.1f} ms late at the 99th percentile")


if __name__ == "__main__":
    main()
