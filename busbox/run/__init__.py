"""A run: a system on an engine, from the first cycle to the recording.

``loop`` the one loop that drives any engine, ``ledger`` what each step becomes, ``deliveries`` what
reaches the system from outside, ``connections`` wires, replies and pins that are looked at, ``host``
what a model tells, ``hardware_host`` a hardware device as the loop sees it, ``taking`` what the run
leaves.
"""
