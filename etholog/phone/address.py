"""Where the page is: one address of this machine in the house, never all of them; and the token that opens it."""

import ipaddress
import json
import os
import secrets
import socket
import ssl
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path

from etholog.base import files
from etholog.base.refusal import Refusal
from etholog.recording.taps import phone_file

PORT = 8477  # the same each evening: what a phone still keeps of an earlier one belongs to this address
# A documentation address (RFC 5737): asking which way leads there sends nothing.
_ELSEWHERE = ("192.0.2.1", 9)


@dataclass(frozen=True)
class Address:
    """One address and port of this machine, and the certificate by which the page is encrypted (None: plain http)."""

    host: str
    port: int = PORT
    certificate: Path | None = None

    @property
    def origin(self) -> str:
        """The page's origin (RFC 6454), as browsers send it."""
        return f"{'https' if self.certificate else 'http'}://{self.netloc}"

    @property
    def netloc(self) -> str:
        """Host and port, as browsers send them."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        usual = self.port == (443 if self.certificate else 80)
        return host if usual else f"{host}:{self.port}"


def own_host() -> str:
    """Return this machine's address in the network that leads outside; '' where there is none."""
    with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        asked.connect(_ELSEWHERE)
        host: str = asked.getsockname()[0]
        if not ipaddress.ip_address(host).is_unspecified:
            return host
    return ""


def is_here(host: str) -> bool:
    """Tell whether an address is one of this machine."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with suppress(OSError), socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.bind((host, 0))
        return True
    return False


def address_typed(text: str) -> tuple[str, int]:
    """Return host and port of `192.168.1.20` or `192.168.1.20:8477`. Refusal for all others, and for 'any address'.

    >>> address_typed("192.168.1.20"), address_typed("[fd00::7]:9000")
    (('192.168.1.20', 8477), ('fd00::7', 9000))
    """
    host, colon, port = text.rpartition(":") if text.count(":") == 1 or "]:" in text else (text, "", "")
    host = (host if colon else text).strip("[]")
    wrong = f"--phone-address {text!r}: write one address of this machine, such as 192.168.1.20:{PORT}"
    try:
        known = ipaddress.ip_address(host)
        number = int(port) if colon else PORT
    except ValueError:
        raise Refusal(wrong) from None
    if known.is_unspecified or known.is_multicast:
        raise Refusal(wrong)
    if not 1 <= number <= 65_535:
        raise Refusal(wrong)
    return host, number


def encryption(certificate: Path) -> ssl.SSLContext:
    """Return how to encrypt with a file that holds a certificate and its key. Refusal where it holds none."""
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    try:
        context.load_cert_chain(certificate)
    except (OSError, ssl.SSLError) as error:
        what = error.strerror if isinstance(error, OSError) and error.strerror else error
        raise Refusal(f"{certificate}: holds no certificate with its key as PEM ({what})") from error
    return context


@dataclass(frozen=True)
class Seat:
    """What a session's phone needs to come back to it after a break: the same address and token."""

    token: str
    host: str
    port: int
    certificate: str = ""

    @property
    def address(self) -> Address:
        """Where its page is."""
        return Address(self.host, self.port, Path(self.certificate) if self.certificate else None)

    @property
    def url(self) -> str:
        """The page's address with the token behind #, which browsers send to nobody."""
        return f"{self.address.origin}/#{self.token}"


def new_seat(address: Address) -> Seat:
    """Return a seat with a token of its own, of 128 random bits."""
    certificate = str(address.certificate.absolute()) if address.certificate else ""
    return Seat(secrets.token_urlsafe(16), address.host, address.port, certificate)


def keep(session: Path, seat: Seat) -> None:
    """Keep a seat beside its session, for this user alone; losing it costs a look at the code again."""
    with suppress(OSError):
        forget(session)
        descriptor = os.open(phone_file(session), os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(descriptor, "w", encoding="utf-8") as file:
            json.dump(asdict(seat), file)


def kept(session: Path) -> Seat | None:
    """Return a session's seat; None where it had no phone."""
    try:
        seat = Seat(**json.loads(files.read(phone_file(session))))
        address_typed(f"[{seat.host}]:{seat.port}" if ":" in seat.host else f"{seat.host}:{seat.port}")
        return seat if len(seat.token) >= 20 else None
    except (ValueError, TypeError, AttributeError, RecursionError):
        return None


def forget(session: Path) -> None:
    """It has ended, and its token with it."""
    with suppress(OSError):
        phone_file(session).unlink()
