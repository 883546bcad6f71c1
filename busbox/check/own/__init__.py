"""A device at its own port, of whatever kind, without the bridge.

``port``      the port: how a component's is recognised, and how one without a bridge gets one
``rig``       copies of the device in the simulator, driven at that port
``drivers``   what a bus may do there, for each kind; more than a bridge ever does
``exercise``  random traffic under the rules of the kind, beside a copy that gets no noise
``words``     the same accesses through the bridge and at the port read the same words
"""
