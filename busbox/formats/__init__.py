"""Traffic files, one module per format: bytes in, pieces out (:mod:`busbox.formats.contract`)."""
