"""``busbox`` and ``python -m busbox``: the command line."""

import signal


def start() -> None:
    """Run the command line; Ctrl-C ends it without a word while it is still being loaded."""
    usual = signal.getsignal(signal.SIGINT) is signal.default_int_handler
    if usual:
        signal.signal(signal.SIGINT, signal.SIG_DFL)
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
