"""The pictures of ``busbox draw``: the words that ask for them, for the verb and for a shell."""

from __future__ import annotations

from collections.abc import Mapping

#: Name of a picture to what stands after it; what is in brackets may be left out.
PICTURES: Mapping[str, str] = {
    "map": "",
    "decode": "ADDRESS",
    "access": "N",
    "pulse": "N [NAME]",
    "lamps": "[NAME]",
    "pins": "FROM..TO",
    "sweep": "",
}
#: All of them, as a line of help.
FORMS = "|".join(f"{name} {words}".rstrip() for name, words in PICTURES.items())
