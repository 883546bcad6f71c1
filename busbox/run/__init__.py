"""A run: a system on an engine, from the first cycle to the recording.

``loop``: the one loop that drives any engine; ``ledger``: the commands made from steps;
``deliveries``: what reaches the system from outside; ``connections``: wires, replies and watched pins;
``host``: what a model reports; ``hardware_host``: a hardware device as the loop sees it; ``taking``:
what the run leaves behind.
"""
