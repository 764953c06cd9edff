"""By what those who call are told apart."""

import ipaddress

LOOPBACK = ("127.0.0.1", "::1", "::ffff:127.0.0.1")


def address_of(remote: str | None) -> str:
    """Return by what an address is counted: IPv6 by its /64, of which anybody has a whole one."""
    try:
        ip = ipaddress.ip_address((remote or "").partition("%")[0])
    except ValueError:
        return "nowhere"
    mapped = getattr(ip, "ipv4_mapped", None) or ip
    if mapped.version == 6 and not mapped.is_loopback:
        return str(ipaddress.ip_network(f"{mapped}/64", strict=False))
    return str(mapped)


def is_proxy(address: str) -> bool:
    """Say whether whoever calls is on this machine: the proxy before us, which counts by itself."""
    return address in LOOPBACK
