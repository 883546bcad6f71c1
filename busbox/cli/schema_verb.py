"""``busbox schema``."""

from __future__ import annotations

import click


@click.command("schema")
def command() -> int:
    """Print the JSON Schema of a bench file, for editors that complete and check TOML.

    Many editors of TOML read the schema that the first line of a file names: #:schema
    bench.schema.json. busbox new writes the schema beside the bench; after installing a package that
    adds models or attachments, write it again: busbox schema > bench.schema.json
    """
    from busbox.bench.json_schema import bench_schema, schema_text

    click.echo(schema_text(bench_schema()), nl=False)
    return 0
