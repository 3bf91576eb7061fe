"""Whether the service may listen where it is asked to. Pure.

On loopback it needs nothing. Anywhere else it needs an account, and a
connection that nobody on the way can read (ASVS 5.0, 6.3.2 and 12.2.1).
"""

from __future__ import annotations

import ipaddress
from collections.abc import Collection
from dataclasses import dataclass

from service.errors import InputError
from service.settings import Settings


@dataclass(frozen=True, slots=True)
class Exposure:
    """Where and how the service listens. `names`: hosts under which it is called.

    `proxies`: addresses of the reverse proxies that it believes.
    """

    host: str = "127.0.0.1"
    names: frozenset[str] = frozenset()
    tls: bool = False
    behind_proxy: bool = False
    proxies: tuple[str, ...] = ()

    @classmethod
    def of(cls, settings: Settings, host: str) -> Exposure:
        """What the settings say of a service that listens on `host`."""
        proxies = settings.proxies
        return cls(host, settings.names, settings.tls is not None, bool(proxies), proxies)

    @property
    def covered(self) -> bool:
        """Whether browsers reach it by HTTPS: cookies may say so then."""
        return self.tls or self.behind_proxy


def is_loopback(host: str) -> bool:
    """Whether only this machine can reach an address to listen on."""
    if host.lower() == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


def check_exposure(exposure: Exposure, accounts: Collection[str]) -> None:
    """InputError with every reason why the service must not start like this."""
    problems = [_bad_proxy(p) for p in exposure.proxies if not _is_address(p)]
    if exposure.behind_proxy and not exposure.proxies:
        problems.append("behind a proxy: list the address of the proxy in `proxies`")
    if not is_loopback(exposure.host) or exposure.behind_proxy:
        problems += _exposed(exposure, accounts)
    if problems:
        raise InputError(problems)


def _exposed(exposure: Exposure, accounts: Collection[str]) -> list[str]:
    problems = []
    if not accounts:
        problems.append(
            f"{exposure.host} can be reached from other machines and there is no account: "
            "start on 127.0.0.1 first and make one under Settings"
        )
    if not exposure.tls and not (exposure.behind_proxy and exposure.proxies):
        problems.append(
            f"{exposure.host} can be reached from other machines and the connection would be "
            "open to read: give a certificate, or put a proxy with TLS before it and list it"
        )
    if not exposure.names:
        problems.append("name the hosts under which browsers will call it in `names`")
    return problems


def _is_address(text: str) -> bool:
    try:
        ipaddress.ip_network(text)
    except ValueError:
        return False
    return True


def _bad_proxy(text: str) -> str:
    return f'proxy "{text}" is not an address: write it like 192.0.2.7 or 192.0.2.0/24'
