"""What hangs on the pins: the part of a bench that is no device of the bus.

``attachment``  the contract: decoders understand a line, drivers give an input pin its levels
``reports``     asks a decoder for its report, and checks that
``decoding``    has every decoder of a bench read its line, once a run is over
``terminal``    a serial line as a terminal shows it
``switch``      a switch whose contact may bounce; ``duty`` how often a pin is on
``lamp_string`` a string of lamps: ``lamp_reading`` what the lamps take from the line, and of that
                ``lamp_rows`` for people, ``lamp_facts`` for programs, ``lamp_findings`` what is wrong
``light``       how often lamps flash; ``supply`` the current that they take
``compare``     a capture of the board against a run of the bench

The lines themselves, their waves and captures are those of :mod:`busbox.lines`.
"""
