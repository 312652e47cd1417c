"""Settings from environment variables, as one typed object built at the entry."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from pathlib import Path

from fieldfare.analysis.errors import InputError

PREFIX = "FIELDFARE_"
_CHOICES = {"second_factor": ("optional", "required"), "log_format": ("text", "json")}


@dataclass(frozen=True)
class Settings:
    """Each field is also an environment variable: its name in capitals behind FIELDFARE_.

    data : folder of readings, state, rejects and logs
    database_url : state database; empty means SQLite in the data folder
    store_url : empty means the local store in the data folder, else a time-series server's address
    store_database, store_token, store_org : its database (bucket), access token and organisation
    broker_url : MQTT broker, such as mqtts://host:8883; empty means none
    broker_user, broker_password, broker_ca, broker_cert, broker_key : credentials and TLS files
    broker_client, broker_group : client id of this collector; collectors of one group share the messages
    firm, firm_contact : who looks after the homes, and how to reach them, as they stand on papers, letters
        and the homes' pages
    host, port : where the service listens
    public_url : the address people use to reach it: for links, for the names it answers to, and https for
        secure cookies
    proxies : addresses or networks of reverse proxies whose X-Forwarded-For is believed, separated by commas
    most_connections : open connections at a time; more are closed at once, so that collecting goes on
    request_seconds, slowest_bytes : a connection must bring a whole request head within so many seconds, and
        bodies and answers so many bytes a second, or it is closed: each holds one of most_connections
        (common practice: 10 to 60 s, 240 to 500 bytes/s)
    second_factor : optional, or required of installers and engineers
    provider_url, provider_client, provider_secret, provider_name : the firm's OpenID Connect provider for
        signing in: its issuer's address, our client id and secret there, and what its button says; empty
        means none
    internal_hosts : loopback and private addresses or networks that notices, sign-in and the forecast may
        reach, separated by commas
    forecast_url : http:// or https:// address of a weather forecast, fetched every night; empty means none
    forecast_name : who makes it, as pages name it; empty means the address's host
    log_format : text or json
    mail_url : smtp:// or smtps:// address with user and password where needed; empty means no e-mail
    mail_from : sender of e-mails
    channels : further notice channels, as addresses, separated by spaces
    person_channels : kinds of channels (the part before ://) that people may give for themselves, separated
        by spaces; empty means e-mail alone, since the service connects to the addresses that they give
    quiet_from, quiet_to : local hours in which only urgent notices are sent
    digest_hour : local hour of the morning digest
    rolling_days : length of the rolling period of the fleet list and the nightly findings
    workers : processes for the nightly sweep, 0 means one for each processor
    cluster : address of a scheduler for the nightly sweep on many machines
    demo : pages open without signing in; only ever with a loopback host
    """

    data: Path = Path("fieldfare-data")
    database_url: str = field(default="", repr=False)
    store_url: str = field(default="", repr=False)
    store_database: str = "fieldfare"
    store_token: str = field(default="", repr=False)
    store_org: str = "-"
    broker_url: str = ""
    broker_user: str = ""
    broker_password: str = field(default="", repr=False)
    broker_ca: str = ""
    broker_cert: str = ""
    broker_key: str = ""
    broker_client: str = "fieldfare"
    broker_group: str = ""
    firm: str = ""
    firm_contact: str = ""
    host: str = "127.0.0.1"
    port: int = 8080
    public_url: str = ""
    proxies: str = "127.0.0.1,::1"
    most_connections: int = 500
    request_seconds: int = 20
    slowest_bytes: int = 500
    second_factor: str = "optional"
    provider_url: str = ""
    provider_client: str = ""
    provider_secret: str = field(default="", repr=False)
    provider_name: str = "the firm's account"
    internal_hosts: str = ""
    forecast_url: str = field(default="", repr=False)
    forecast_name: str = ""
    log_format: str = "text"
    mail_url: str = field(default="", repr=False)
    mail_from: str = "fieldfare@localhost"
    channels: str = field(default="", repr=False)
    person_channels: str = ""
    quiet_from: int = 21
    quiet_to: int = 7
    digest_hour: int = 7
    rolling_days: int = 365
    workers: int = 0
    cluster: str = ""
    demo: bool = False

    @classmethod
    def from_env(cls, env: Mapping[str, str], **given: object) -> Settings:
        """Read the settings from environment variables.

        env : mapping, usually os.environ; given : fields that win over it, None means not given.

        Returns Settings. Raises InputError naming the variable if one does not parse.
        """
        found: dict[str, object] = {}
        for f in fields(cls):
            name = PREFIX + f.name.upper()
            if f.name != "demo" and env.get(name):
                found[f.name] = _read(name, env[name], f.default)
        for name, words in _CHOICES.items():
            if name in found and found[name] not in words:
                message = f"{PREFIX}{name.upper()}: must be {' or '.join(words)}"
                raise InputError(f"{message}, got {found[name]!r}")
        found.update({k: v for k, v in given.items() if v is not None})
        return cls(**found)  # type: ignore[arg-type]

    @property
    def state_url(self) -> str:
        """SQLAlchemy URL of the state database."""
        if not self.database_url:
            return f"sqlite:///{self.data.absolute() / 'state.sqlite'}"
        scheme, _, rest = self.database_url.partition("://")
        return f"postgresql+psycopg://{rest}" if scheme in ("postgres", "postgresql") else self.database_url

    @property
    def readings_dir(self) -> Path:
        return self.data / "readings"

    @property
    def rejects_dir(self) -> Path:
        return self.data / "rejects"

    @property
    def address(self) -> str:
        """Public address of the service, without a trailing slash."""
        host = "localhost" if self.host in ("0.0.0.0", "::") else self.host  # noqa: S104
        return (self.public_url or f"http://{host}:{self.port}").rstrip("/")

    @property
    def is_loopback(self) -> bool:
        return self.host in ("127.0.0.1", "::1", "localhost")


def _read(name: str, text: str, default: object) -> object:
    if isinstance(default, Path):
        return Path(text)
    if isinstance(default, int):
        try:
            return int(text)
        except ValueError:
            raise InputError(f"{name}: must be a whole number, got {text!r}") from None
    return text
