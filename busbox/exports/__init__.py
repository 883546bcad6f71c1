"""Exports: what writes the result of a run, one module an export (:mod:`busbox.exports.contract`)."""
