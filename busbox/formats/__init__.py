"""Traffic files, one module a format: bytes in, pieces out (:mod:`busbox.formats.contract`)."""
