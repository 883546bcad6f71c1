"""The benches that come with Busbox, installed as ``busbox.firmware_traces``.

Each is a folder with ``bench.toml`` and its traffic; ``busbox list`` shows them.
"""
