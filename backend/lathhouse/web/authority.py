"""A certificate authority for one nursery's own network, and the server's certificate under it.

The authority can vouch for the nursery's own name and its own network only (name constraints, RFC
5280 section 4.2.1.10), so that a phone which trusts it gives nobody power over other sites.
"""

import ipaddress
import logging
import os
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

Address = ipaddress.IPv4Address | ipaddress.IPv6Address
Network = ipaddress.IPv4Network | ipaddress.IPv6Network

# Browsers take no certificate of more than 398 days (CA/Browser Forum, Baseline Requirements,
# section 6.3.2); ours is renewed long before. The authority's own years are our choice.
LEAF_DAYS = 120
RENEW_DAYS = 40
AUTHORITY_DAYS = 3653
# A certificate made by a clock that runs ahead is good on a phone that does not.
EARLIER = timedelta(days=1)
# How an authority that was put aside is named, after its serial number.
ASIDE = ".aside.pem"

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Site:
    """What a certificate is for: the nursery's name, and this machine's addresses."""

    name: str
    addresses: tuple[Address, ...]

    def networks(self) -> list[Network]:
        """Return the networks that its addresses stand in, so that a new address there is good.

        A router gives an address anew from the same 256 (IPv4) or the same link (IPv6, /64).
        """
        found: set[Network] = set()
        for address in self.addresses:
            prefix = 24 if address.version == 4 else 64
            found.add(ipaddress.ip_network(f"{address}/{prefix}", strict=False))
        return sorted(found, key=lambda network: (network.version, str(network)))


@dataclass(frozen=True)
class Files:
    """Where the authority and the server's certificate are kept."""

    folder: Path

    @property
    def authority(self) -> Path:
        """The authority's certificate, which phones are given."""
        return self.folder / "authority.pem"

    @property
    def authority_key(self) -> Path:
        """The authority's key, which leaves this machine never."""
        return self.folder / "authority-key.pem"

    @property
    def leaf(self) -> Path:
        """The server's certificate, with the authority's below it."""
        return self.folder / "server.pem"

    @property
    def leaf_key(self) -> Path:
        """The server's key."""
        return self.folder / "server-key.pem"


def prepare(files: Files, site: Site, now: datetime) -> bool:
    """Make whatever is missing, ends soon or is for another name or address; say if anything was.

    The authority stays as long as it can vouch for the site's name: phones trust it once, by hand.
    An address that it may not vouch for is left out of the server's certificate.
    """
    files.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    made = False
    if not _vouches(_pair(files.authority, files.authority_key), site, now):
        _exchange(files, site, now)
        made = True
    if made or not _serves(files, site, now):
        _make_leaf(files, Site(site.name, tuple(_vouched_for(files, site))), now)
        made = True
    return made


def left_out(files: Files, site: Site) -> tuple[Address, ...]:
    """Return the addresses of a site that its authority may not vouch for: another network's."""
    allowed = _permitted(_read(files.authority))
    networks = [one.value for one in allowed if isinstance(one, x509.IPAddress)]
    mine = [one for one in networks if isinstance(one, Network)]
    return tuple(one for one in site.addresses if not any(one in net for net in mine))


def fingerprint(files: Files) -> str:
    """Return the authority's SHA-256 fingerprint as people compare it: AB:CD:…"""
    return _read(files.authority).fingerprint(hashes.SHA256()).hex(":").upper()


def authority_der(files: Files) -> bytes:
    """Return the authority's certificate in the form that phones install."""
    return _read(files.authority).public_bytes(serialization.Encoding.DER)


def ends_at(path: Path) -> datetime:
    """Return when a certificate ends."""
    return _read(path).not_valid_after_utc


def addresses_of(leaf: Path) -> tuple[Address, ...]:
    """Return the addresses that a server's certificate is for."""
    said = _read(leaf).extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    addresses = said.get_values_for_type(x509.IPAddress)
    return tuple(one for one in addresses if isinstance(one, Address))


def permits(files: Files, name: str) -> bool:
    """Say whether the authority may vouch for a name: one of its own, or one below it (RFC 5280,
    section 4.2.1.10: any name made by adding labels to the left)."""
    return _permits(_read(files.authority), name)


def _read(path: Path) -> x509.Certificate:
    return x509.load_pem_x509_certificate(path.read_bytes())


def _permitted(certificate: x509.Certificate) -> list[x509.GeneralName]:
    constraints = certificate.extensions.get_extension_for_class(x509.NameConstraints)
    return list(constraints.value.permitted_subtrees or [])


def _permits(certificate: x509.Certificate, name: str) -> bool:
    own = [one.value for one in _permitted(certificate) if isinstance(one, x509.DNSName)]
    return any(name == one or name.endswith(f".{one}") for one in own)


def _pair(certificate: Path, key: Path) -> x509.Certificate | None:
    """Return a certificate that can be read and belongs to its key, or None.

    A power cut may have left one of them empty, or of another making than the other.
    """
    if not (certificate.exists() and key.exists()):
        return None
    try:
        found = _read(certificate)
        own = serialization.load_pem_private_key(key.read_bytes(), None).public_key()
        if own == found.public_key():
            return found
    except (ValueError, TypeError, UnsupportedAlgorithm) as error:
        log.debug("%s: %s", certificate.name, error)
    log.error("%s and its key are not whole, or not a pair: made anew", certificate.name)
    return None


def _vouches(certificate: x509.Certificate | None, site: Site, now: datetime) -> bool:
    """Say whether an authority is good for longer than a leaf, and for this site's name.

    One that begins after now was made by a clock that ran ahead, and no phone takes it.
    """
    if certificate is None or certificate.not_valid_before_utc > now:
        return False
    if certificate.not_valid_after_utc < now + timedelta(days=LEAF_DAYS):
        return False
    return _permits(certificate, site.name)


def _serves(files: Files, site: Site, now: datetime) -> bool:
    certificate = _pair(files.leaf, files.leaf_key)
    if certificate is None or certificate.not_valid_before_utc > now:
        return False
    if certificate.not_valid_after_utc <= now + timedelta(days=RENEW_DAYS):
        return False
    said = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    same = set(said.get_values_for_type(x509.IPAddress)) == set(_vouched_for(files, site))
    return same and site.name in said.get_values_for_type(x509.DNSName)


def _vouched_for(files: Files, site: Site) -> list[Address]:
    without = left_out(files, site)
    return [one for one in site.addresses if one not in without]


def _exchange(files: Files, site: Site, now: datetime) -> None:
    """Put another authority in the place of one that vouches no more, which is kept beside it.

    One that was put aside while the clock was wrong is taken back: phones trust it.
    """
    before = _pair(files.authority, files.authority_key)
    if before:
        for path in (files.authority, files.authority_key):
            path.replace(_aside(path, f"{before.serial_number:x}"))
    for key in sorted(files.folder.glob(_aside(files.authority_key, "*").name)):
        other = _aside(files.authority, key.name.split(".")[1])
        if _vouches(_pair(other, key), site, now):
            other.replace(files.authority)
            key.replace(files.authority_key)
            return
    _make_authority(files, site, now)


def _aside(path: Path, serial: str) -> Path:
    return path.with_name(f"{path.stem}.{serial}{ASIDE}")


def _make_authority(files: Files, site: Site, now: datetime) -> None:
    key = ec.generate_private_key(ec.SECP256R1())
    name = _name(f"Lathhouse at {site.name}")
    permitted: list[x509.GeneralName] = [x509.DNSName(site.name)]
    permitted += [x509.IPAddress(network) for network in site.networks()]
    made = (
        _begin(name, name, key.public_key(), now, AUTHORITY_DAYS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(x509.NameConstraints(permitted, None), critical=True)
        .add_extension(_usage(signs_certificates=True), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    _write_key(files.authority_key, key)
    _write(files.authority, made.public_bytes(serialization.Encoding.PEM), 0o644)


def _make_leaf(files: Files, site: Site, now: datetime) -> None:
    authority = _read(files.authority)
    signer = serialization.load_pem_private_key(files.authority_key.read_bytes(), None)
    assert isinstance(signer, ec.EllipticCurvePrivateKey)
    key = ec.generate_private_key(ec.SECP256R1())
    names: list[x509.GeneralName] = [x509.DNSName(site.name)]
    names += [x509.IPAddress(address) for address in site.addresses]
    signed_by = x509.AuthorityKeyIdentifier.from_issuer_public_key(signer.public_key())
    made = (
        _begin(_name(site.name), authority.subject, key.public_key(), now, LEAF_DAYS)
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs_certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(signed_by, critical=False)
        .sign(signer, hashes.SHA256())
    )
    pem = serialization.Encoding.PEM
    _write_key(files.leaf_key, key)
    _write(files.leaf, made.public_bytes(pem) + authority.public_bytes(pem), 0o644)


def _begin(
    subject: x509.Name,
    issuer: x509.Name,
    key: ec.EllipticCurvePublicKey,
    now: datetime,
    days: int,
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now.astimezone(UTC) - EARLIER)
        .not_valid_after(now.astimezone(UTC) + timedelta(days=days))
    )


def _name(common: str) -> x509.Name:
    # A common name holds at most 64 characters (RFC 5280, appendix A.1); the names that count are
    # the alternative ones.
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, common[:64])])


def _usage(*, signs_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=signs_certificates,
        crl_sign=signs_certificates,
        encipher_only=False,
        decipher_only=False,
    )


def _write_key(path: Path, key: ec.EllipticCurvePrivateKey) -> None:
    plain = serialization.NoEncryption()
    form = serialization.PrivateFormat.PKCS8
    _write(path, key.private_bytes(serialization.Encoding.PEM, form, plain), 0o600)


def _write(path: Path, content: bytes, mode: int) -> None:
    """Write a file that is whole or not there, and never readable by others for a moment."""
    fresh = path.with_suffix(".new")
    fresh.unlink(missing_ok=True)
    descriptor = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
    with os.fdopen(descriptor, "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    fresh.replace(path)
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
