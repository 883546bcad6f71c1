"""What is attached to pins: the parts of a bench that are not devices on the bus.

``attachment``  the contract: decoders understand a line, drivers give an input pin its levels
``reports``     asks a decoder for its report, and checks the report
``decoding``    has every decoder of a bench read its line, once a run is over
``terminal``    a serial line as a terminal shows it
``switch``      a switch whose contact may bounce; ``duty`` how often a pin is on
``lamp_string`` a string of lamps: ``lamp_reading`` decodes its line, and from that come
                ``lamp_rows`` for people, ``lamp_facts`` for programs, and ``lamp_findings``
``light``       how often lamps flash; ``supply`` the current they draw
``compare``     a capture of the board against a run of the bench

The lines themselves, their waves and captures are those of :mod:`busbox.lines`.
"""
