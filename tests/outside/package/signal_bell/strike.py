"""A verb: writes traffic that strikes a bell."""

import click


@click.command("strike")
@click.argument("file")
@click.option("--times", default=1, help="Strokes.")
@click.option("--address", default="0x1000", help="Address of STRIKE.")
def strike(file: str, times: int, address: str) -> int:
    """Write traffic that strikes a bell.

    FILE is a traffic file of any format. The exit code is 1 if there is no stroke.
    """
    from pathlib import Path

    from busbox.cpu.steps import AccessStep
    from busbox.formats.files import write_traffic

    click.echo(write_traffic(Path(file), [AccessStep(True, int(address, 0), 30)] * times))
    return int(times == 0)
