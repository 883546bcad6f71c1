"""``busbox`` and ``python -m busbox``: the command line."""

import gc
import signal

#: What is loaded and built stays, and few objects point at each other in circles: looking for such
#: circles 100 times less often takes about a twelfth off a short run.
OBJECTS_BETWEEN_COLLECTIONS = 70_000


def start() -> None:
    """Run the command line; Ctrl-C ends it without a word while it is still being loaded."""
    usual = signal.getsignal(signal.SIGINT) is signal.default_int_handler
    if usual:
        signal.signal(signal.SIGINT, signal.SIG_DFL)
    gc.set_threshold(OBJECTS_BETWEEN_COLLECTIONS)
    from busbox.cli import main

    if usual:
        signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        main()
    finally:
        if usual:
            signal.signal(signal.SIGINT, signal.SIG_DFL)


if __name__ == "__main__":
    start()
