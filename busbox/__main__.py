"""``python -m busbox``: the command line."""

from busbox.cli import main

main()
