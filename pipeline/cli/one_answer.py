"""A process that gives one answer and ends: what takes time in it and helps nobody is left out. So in `open`, which
runs for long: what circles hold is let go of a little later there.
"""

import atexit
import gc
import os
import sys
import threading

# A command makes many objects and hardly a circle among them, and ends soon: looking for circles as often as Python
# does of itself took a seventh of the time of tables of 100,000 rows (measured), and one look at the 100,000 objects of
# an ordinary farm's report a fiftieth of it. After so many objects, so many looks.
SELDOM = (500_000, 50, 100)


def prepare_for_one_answer() -> None:
    """Let nothing be started, or tidied up at the end, that pays only in a process which runs for long.

    Call it before numpy is imported: its linear algebra would begin a thread for each core, which wait for work by
    asking for it all the time; our matrices are small. Who wants them says so in OPENBLAS_NUM_THREADS. Of `gillbook
    spawn` on the demo farm's .49 CPU seconds this takes .09.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # What Polars lets go of is given back at once, not a second later: 80 MB less at the highest of a first refresh.
    os.environ.setdefault("_RJEM_MALLOC_CONF", "dirty_decay_ms:300,muzzy_decay_ms:0")
    gc.set_threshold(*SELDOM)
    # What is there at the end goes with the process.
    atexit.register(gc.freeze)


def end_process(code: int) -> None:
    """End this process with this exit code, and leave to the system what is in memory: to clear that away object by
    object takes Python 16 ms of a report on the demo farm (measured).

    Return, so that Python ends in its own way, where other threads run, where what is still to be shown cannot be (of
    which Python tells), and where a profiler has yet to write what it found.
    """
    if threading.active_count() > 1 or sys.getprofile():
        return
    atexit._run_exitfuncs()
    try:
        sys.stdout.flush()
        sys.stderr.flush()
    except (OSError, ValueError):
        return
    os._exit(code)
