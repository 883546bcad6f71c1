"""Benches as tests: ``plugin`` is what pytest loads, ``bench_items`` a bench file as a list of tests.

pytest loads ``plugin`` in every project where Busbox is installed, so that it imports pytest alone;
``bench_items`` is imported with the first bench.
"""
