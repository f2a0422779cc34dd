"""``tautlog sign``."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tautlog.cli import options
from tautlog.cli.output import tell

if TYPE_CHECKING:
    from tautlog.files.append import Appended


@click.command(name="sign")
@click.option(
    "--key",
    required=True,
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Your private key, as `ssh-keygen -t ed25519` makes one. It is read, not kept.",
)
@click.option("--by", default="", metavar="NAME", help="Who signs.")
@options.json_option
def command(key: Path, by: str, as_json: bool) -> None:
    """Sign the head of the campaign's chain, and so all that the campaign keeps, with your own key.

    Whoever has your public key from you can then see, with `tautlog verify --key FILE.pub`, that
    what came before the signature is what you signed. A signature says who had the key, and not
    that a figure is right. What is kept later is not signed: sign again.
    """
    from tautlog.archive.signed_heads import signature_words
    from tautlog.cli.output import print_json
    from tautlog.errors import CampaignError
    from tautlog.files.chain import head_of

    campaign = options.here(to_drop=False)
    if campaign is None:
        raise CampaignError("there is no campaign here: make one with `tautlog init`")
    options.tell_doubt(_sign(campaign.folder, options.signature_of(by, "a signature"), key))
    *_, words, _ = signature_words(campaign.folder)
    head = head_of(campaign.folder)
    if as_json:
        print_json({"signed": words, "head": head})
        return
    tell(words)
    tell(f"head of the chain now, with this signature in it: {head}")


def _sign(folder: Path, by: str, key: Path) -> Appended:
    """Sign; ask for the passphrase if the key's file has one."""
    from tautlog.archive.signed_heads import sign_head
    from tautlog.errors import SignatureError

    try:
        return sign_head(folder, by, key)
    except SignatureError as problem:
        if not problem.needs_passphrase or not sys.stdin.isatty():
            raise
    passphrase: str = click.prompt(f"Passphrase of {key}", hide_input=True, err=True)
    return sign_head(folder, by, key, passphrase.encode())
