"""Who may ask: browsers of this machine, with a key those that were handed the address; never another site's page."""

from __future__ import annotations

import ipaddress
import secrets
import socket
from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import urlsplit

ALPHABET = "abcdefghjkmnpqrstuvwxyz23456789"
"""Letters and digits that nobody takes for one another when typing them on a tablet."""
GROUPS, GROUP = 4, 4
"""Of a key: 16 signs of 31, 79 bits (choice): one that cannot be tried out over a network."""
LOOPBACK = ("127.0.0.1", "::1", "localhost")
OWN_SITES = ("same-origin", "none")
"""What a browser says of a page of ours, and of an address that was typed in."""


@dataclass(frozen=True)
class Guard:
    """host : where the page listens;  port : there;  key : what the address must hold, '' where none is needed"""

    host: str
    port: int
    key: str = ""

    @property
    def cookie(self) -> str:
        """Its name; cookies of one machine are shared by all its ports."""
        return f"day_{self.port}"

    def refuses(self, method: str, headers: Mapping[str, str], key: str) -> str:
        """Why a request is refused, '' where it is not.

        headers : by their small names;  key : that of the address or of the cookie, '' for none
        """
        if not self.is_ours(headers.get("host", "")):
            return "this name is not the page's: type the address that the terminal shows"
        origin = headers.get("origin")
        if origin is not None and urlsplit(origin).netloc != headers["host"]:
            return "another site asked"
        if headers.get("sec-fetch-site", "none") not in OWN_SITES:
            return "another site asked: type the address that the terminal shows"
        if method == "POST" and origin is None:
            return "only the page itself may answer"
        if self.key and not secrets.compare_digest(key.encode(), self.key.encode()):
            return "the key is missing or wrong: type the whole address that the terminal shows"
        return ""

    def is_ours(self, host: str) -> bool:
        """Whether the Host header names this page. A name that anybody could point at this machine does not."""
        try:
            name, port = urlsplit(f"//{host}").hostname or "", urlsplit(f"//{host}").port or 80
        except ValueError:
            return False
        if port != self.port:
            return False
        if not self.key:
            return name in LOOPBACK
        return name in (*LOOPBACK, self.host.lower(), *_names()) or _is_number(name)

    def addresses(self) -> list[str]:
        """What a person types; by each name that the network knows this machine by where it listens on all."""
        names = [self.host]
        if _is_number(self.host) and ipaddress.ip_address(self.host).is_unspecified:
            names = [socket.gethostname(), *_own_numbers()]
        key = f"?key={self.key}" if self.key else ""
        return [f"http://{f'[{name}]' if ':' in name else name}:{self.port}/{key}" for name in names]


def new_key() -> str:
    """Random, in groups."""
    return "-".join("".join(secrets.choice(ALPHABET) for _ in range(GROUP)) for _ in range(GROUPS))


def _is_number(name: str) -> bool:
    try:
        ipaddress.ip_address(name.partition("%")[0])
    except ValueError:
        return False
    return True


def _names() -> tuple[str, str]:
    own = socket.gethostname().lower()
    return own, f"{own}.local"


def _own_numbers() -> list[str]:
    """The number by which others of the network reach this machine; nothing is sent to find it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))
        except OSError:
            return []
        return [probe.getsockname()[0]]
