"""Signs a release with its studio's key, and says who signed one: Ed25519 (RFC 8032) over its sums.

The public key goes with the release as PEM (RFC 8410), so that any program can check it, such as
``openssl pkeyutl -verify -pubin -inkey PUBLIC-KEY.pem -rawin -in SHA256SUMS -sigfile
SHA256SUMS.sig``.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from ...calibrate.errors import InputError
from ..common.files import write_whole
from ..store.studio import SIGNING_KEY, Studio
from .files import SIGNATURE, SUMS

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    from ..store.keys import Keys

PUBLIC_KEY = "PUBLIC-KEY.pem"

Signer = Literal["nobody", "own", "known", "new", "other", "missing"]


@dataclass(frozen=True)
class Signature:
    """Who signed a release, as far as this studio can tell.

    Attributes
    ----------
    signer : {"nobody", "own", "known", "new", "other", "missing"}
        Nobody; this studio; one whose key is known here; one never seen; another key than the one
        that its studio was first seen with; nobody, though its studio's releases are signed.
    studio : str
        What the release calls its studio; empty where it says nothing.
    public : str
        The key, in hexadecimal; empty without a signature.
    since : str
        Day on which the key that is known was first seen, and on which release.
    """

    signer: Signer
    studio: str = ""
    public: str = ""
    since: str = ""

    @property
    def vouched(self) -> bool:
        """Whether someone known here stands for what no check can tell."""
        return self.signer in ("own", "known")

    @property
    def suspect(self) -> bool:
        """Whether it isn't signed as that studio's releases were before."""
        return self.signer in ("other", "missing")

    @property
    def line(self) -> str:
        """Say it in a line."""
        key = f"key {fingerprint(self.public)}" if self.public else ""
        return {
            "nobody": "signed by nobody: whoever passed it on could have changed it",
            "own": f"signed by this studio ({key})",
            "known": f"signed by a studio that you know since {self.since} ({key})",
            "new": f"signed by a studio that isn't known here ({key}); ask its maker for its key, "
            "and compare",
            "other": f"signed by another key ({key}) than its studio had on {self.since}; ask its "
            "maker whether the key was changed",
            "missing": f"not signed, though its studio signed on {self.since}; ask its maker",
        }[self.signer]


def fingerprint(public: str) -> str:
    """Return a key in short, to be read aloud: eight groups of four."""
    digest = hashlib.sha256(bytes.fromhex(public)).hexdigest()[:32]
    return " ".join(digest[i : i + 4] for i in range(0, 32, 4))


def signing_key(studio: Studio) -> Ed25519PrivateKey:
    """Return the key that a studio signs with, made where there is none.

    Raises
    ------
    InputError
        Where what stands in its place is no such key.
    """
    from cryptography.hazmat.primitives import serialization as form
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    place = studio.folder / SIGNING_KEY
    if place.exists():
        try:
            key = form.load_pem_private_key(place.read_bytes(), None)
        except (OSError, TypeError, ValueError) as error:
            raise _no_key(place) from error
        if not isinstance(key, Ed25519PrivateKey):
            raise _no_key(place)
        return key
    made = Ed25519PrivateKey.generate()
    whole = made.private_bytes(form.Encoding.PEM, form.PrivateFormat.PKCS8, form.NoEncryption())
    write_whole({place: whole}, owner_alone=True)
    return made


def _no_key(place: Path) -> InputError:
    return InputError(
        place,
        None,
        "expected the key that this studio signs with, an Ed25519 key as PEM",
        "bring it back from where you keep it, or move it away: then a new one is made",
    )


def public_of(key: Ed25519PrivateKey) -> str:
    """Return its public key in hexadecimal."""
    return key.public_key().public_bytes_raw().hex()


def as_pem(public: str) -> bytes:
    """Return a public key as PEM."""
    from cryptography.hazmat.primitives import serialization as form
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(public))
    return key.public_bytes(form.Encoding.PEM, form.PublicFormat.SubjectPublicKeyInfo)


def checked_public(files: Mapping[str, bytes]) -> str | None:
    """Return the key that signed the files of a release; None where they aren't signed.

    Raises
    ------
    ValueError
        Where they are, and the signature doesn't hold.
    """
    if SIGNATURE not in files and PUBLIC_KEY not in files:
        return None
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives import serialization as form
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        key = form.load_pem_public_key(files[PUBLIC_KEY])
        if not isinstance(key, Ed25519PublicKey):
            raise ValueError(f"{PUBLIC_KEY} is no Ed25519 key")
        key.verify(files[SIGNATURE], files[SUMS])
    except InvalidSignature as error:
        raise ValueError(f"it doesn't sign this {SUMS}") from error
    except KeyError as error:
        raise ValueError(f"{error.args[0]} is missing") from error
    return key.public_bytes_raw().hex()


def signature(public: str | None, studio: str, keys: Keys | None) -> Signature:
    """Say who signed a release, by what is known here.

    Parameters
    ----------
    public : str or None
        The key that signed it.
    studio : str
        What it calls its studio.
    keys : Keys or None
        None where there is no studio here.
    """
    known = keys.of(studio) if keys is not None and studio else []
    mine = next((row for row in known if row.public == public), None)
    first = mine or (known[0] if known else None)
    since = "" if first is None else f"{first.seen[:10]} ({first.release})"
    if public is None:
        return Signature("missing" if known else "nobody", studio, "", since)
    if mine is not None:
        return Signature("own" if mine.own else "known", studio, public, since)
    return Signature("other" if known else "new", studio, public, since)
