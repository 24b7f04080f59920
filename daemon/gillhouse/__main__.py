"""The command line: one module a command, each imported only when it is called."""

import importlib
import os
import sys

import click

from gillhouse import __version__
from gillhouse.errors import ConfigError, GillhouseError
from gillhouse.local import WHO

COMMANDS = {
    # command: (module under gillhouse.commands, what it is for)
    "demo": ("demo", "A trial night on simulated boards, nothing needed"),
    "check": ("check", "Read the config and say what was understood, or every mistake"),
    "listen": ("listen", "What the broker carries: find your boards, try your relays"),
    "run": ("run", "Listen, steer and log until stopped"),
    "now": ("now", "What each space is doing, and why"),
    "night": ("night", "What a night was like"),
    "why": ("why", "Why a relay moved"),
    "note": ("note", "Write something down: hosed, door, anything"),
    "batch": ("batch", "What stands where, at which stage, and what comes next"),
    "pests": ("pests", "Flies to come, wet caps, warmth for moulds; write down what you see"),
    "calibrate": ("calibrate", "Hold a sensor against salt, fresh air or a better instrument"),
    "ack": ("ack", "Say that you have seen an alarm"),
    "alarms": ("alarms", "How many alarms, how fast seen, which ones only tire people"),
    "shelve": ("shelve", "Keep one alarm quiet for a while"),
    "mend": ("mend", "No calls about what is being mended, until the time you say"),
    "more-water": ("more_water", "Half of a day's mist water again, once"),
    "reset": ("reset", "Take an alarm off the list that stays until somebody has looked"),
    "mode": ("mode", "What goes on in a space: somebody inside, cleaning, harvest, empty"),
    "override": ("override", "Run or hold a relay by hand for a while"),
    "size": ("size", "What a space needs in fresh air, water and heat, with the equations"),
    "season": ("season", "What a year outdoors is for each crop, from a weather file"),
    "ahead": ("ahead", "What is coming up: hosing, dry wind, slugs, first picks"),
    "keeps": ("keeps", "How long picked mushrooms keep, from the hours since the pick"),
    "measure": ("measure", "Measure a space: fan, leaks, breath and mist as they truly are"),
    "verify": ("verify", "Prove that nothing in the log was changed, removed or put in"),
    "personal": ("personal", "What is kept of people, and taking somebody out for good"),
    "parcel": ("parcel", "What a helper from outside needs to see, without secrets and people"),
    "replay": ("replay", "Decide a night again from what was heard, and compare"),
    "off": ("off", "Every relay off, where no daemon runs"),
    "backup": ("backup", "A verified copy of the journal"),
    "restore": ("restore", "Put a copy of the journal back, or rehearse it"),
    "ready": ("ready", "Whether this version can run on your config and journal"),
    "try-alert": ("try_alert", "Send a test message on every channel"),
    "card": ("card", "A page to print for a helper: what a call means, what to do"),
}


class _Commands(click.Group):
    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"gillhouse.commands.{COMMANDS[cmd_name][0]}")
        command: click.Command = module.command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, purpose) for name, (_, purpose) in COMMANDS.items()])


@click.command(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="gillhouse")
@click.option("--who", envvar=WHO, default=None, help="The person you are, where several share this login.")
def cli(who: str | None) -> None:
    """Listens to your fruiting spaces, runs mist and fans with reasons, and tells the night."""
    if who:
        os.environ[WHO] = who  # where every command that asks the daemon finds it (`local.ask`)


def main() -> None:
    """Entry point. Mistakes a person must mend end with exit code 2 and words, not a traceback."""
    try:
        cli(standalone_mode=True)
    except ConfigError as error:
        click.echo("\n".join(error.mistakes), err=True)
        sys.exit(2)
    except GillhouseError as error:
        click.echo(f"gillhouse: {error}", err=True)
        sys.exit(2)


if __name__ == "__main__":
    main()
