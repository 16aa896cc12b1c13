"""`etchwarden alert`: tell people something now, to see whether it reaches them."""

import time
import uuid
from pathlib import Path
from typing import Final

import click

from etchwarden.configuring.page_settings import PageSettings
from etchweb.alerts.channels import Channel, NotDelivered
from etchweb.alerts.outbox import Notification
from etchwire.alert_policy import Alert
from etchwire.configuration.faults import FaultyConfiguration

TRIED: Final = "This is a try. If you read it, alerts from this box reach you."


@click.command()
@click.option(
    "--settings",
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    default=Path("/etc/etchwarden/page.toml"),
    show_default=True,
    help="The page's own TOML file, whose table `alerts` says who is told.",
)
def command(settings: Path) -> None:
    """Send a try by every way that the page's settings name, and say what came of each."""
    try:
        alerts = PageSettings.at(settings).alerts
    except FaultyConfiguration as error:
        raise click.ClickException(str(error)) from error
    channels = {} if alerts is None else alerts.channels
    if not channels:
        raise click.ClickException(f"{settings} names nobody to tell: it has no table `alerts`.")
    failed = [name for name, channel in channels.items() if not _is_sent(name, channel)]
    if failed:
        raise click.ClickException(f"{' and '.join(failed)} did not work.")


def _is_sent(name: str, channel: Channel) -> bool:
    letter = Notification(
        id=str(uuid.uuid4()), channel=name, machine="etchwarden", kind=Alert.FINISHED,
        title="A try", text=TRIED, made_at_s=time.time(), tries=0,
    )  # fmt: skip
    try:
        channel.send(letter)
    except NotDelivered as error:
        click.echo(f"{name}: {error}")
        return False
    click.echo(f"{name}: delivered.")
    return True
