"""Where phones in the same network reach this computer."""

from __future__ import annotations

import ipaddress
import socket

_ANYWHERE = ("192.0.2.1", 9)
"""An address reserved for documentation: asking the way there sends nothing."""


def own_addresses() -> tuple[str, ...]:
    """This computer's IPv4 addresses beyond itself, the one it would use first first."""
    found: list[str] = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            asking.connect(_ANYWHERE)
            found.append(asking.getsockname()[0])
        except OSError:
            pass
    try:
        named = socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)
    except OSError:
        named = []
    found += [str(one[4][0]) for one in named]
    beyond = [one for one in dict.fromkeys(found) if not ipaddress.ip_address(one).is_loopback]
    return tuple(one for one in beyond if one != "0.0.0.0")
