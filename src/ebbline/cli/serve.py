"""`ebbline serve` and `ebbline accounts`: the pages in the browser, and who may see them."""

from __future__ import annotations

import ipaddress
import os
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ebbline.errors import EbblineError

if TYPE_CHECKING:
    from ebbline.web.auth.accounts import Accounts

StorePath = Annotated[
    Path | None,
    typer.Option("--store", help="The store's file. [default: in your own data directory]"),
]
Name = Annotated[str, typer.Argument(help="The account's name.")]
RoleWord = Annotated[str, typer.Option("--role", help="reader, teacher or admin.")]

accounts_app = typer.Typer(no_args_is_help=True, help="Who may sign in to the workbench.")


def register(app: typer.Typer) -> None:
    """Add the commands of this group."""
    app.command()(serve)
    app.add_typer(accounts_app, name="accounts")


class ServeError(EbblineError):
    """The pages cannot be served as asked."""


def serve(
    host: Annotated[str, typer.Option(help="Address to listen on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=0, max=65535, help="Port; 0 takes a free one.")] = 8722,
    store: StorePath = None,
    accounts: Annotated[
        bool, typer.Option("--accounts", help="People must sign in, on this computer too.")
    ] = False,
    name: Annotated[
        list[str] | None,
        typer.Option("--name", help="Host name by which browsers call it; may be repeated."),
    ] = None,
    proxy: Annotated[
        list[str] | None,
        typer.Option("--proxy", help="Address of the TLS proxy before it; may be repeated."),
    ] = None,
    record: Annotated[
        str,
        typer.Option(
            "--record",
            help="Where the labour record lies: a file, or postgresql://... [default: beside the "
            "store]",
        ),
    ] = "",
    live: Annotated[
        str,
        typer.Option(
            "--live",
            help="Where live samples lie: a file, or postgresql://... [default: beside the store]",
        ),
    ] = "",
    nats: Annotated[
        str,
        typer.Option("--nats", help="NATS server that the processes of a unit share, nats://..."),
    ] = "",
    notices: Annotated[
        str, typer.Option("--notices", help="The unit's own policy of live prompts, a file.")
    ] = "",
    mllp: Annotated[
        int, typer.Option("--mllp", min=0, max=65535, help="Take HL7 v2 on this port; 0: do not.")
    ] = 0,
    log: Annotated[
        str, typer.Option("--log", help="How the log is written: lines, or json for programs.")
    ] = "lines",
    log_file: Annotated[
        Path | None, typer.Option("--log-file", help="Where to. [default: stderr]")
    ] = None,
    class_: Annotated[
        bool,
        typer.Option(
            "--class",
            help="Let phones in the local network join classes by a code; nothing else is open to "
            "them.",
        ),
    ] = False,
    upload_mib: Annotated[int, typer.Option(min=1, max=4096, help="Largest upload in MiB.")] = 64,
) -> None:
    """Open the workbench: pages for reading, examining and teaching.

    Listens on this computer only unless told otherwise, and then only with accounts; TLS is the
    work of a proxy before it (see docs/operating.md). With --class phones in the local
    network reach the pages of classes, and nothing else.
    """
    import socket

    from ebbline.web.settings import LOOPBACK_NAMES, MEBIBYTE, Limits, Settings, default_store

    if log not in ("lines", "json"):
        raise ServeError(f"{log!r} is no form of a log.", where="--log", remedy="lines or json.")
    found: tuple[str, ...] = ()
    if class_:
        found, host = _for_a_class(host)
    local = _is_loopback(host)
    if not local and not name and not class_:
        raise ServeError(
            "to listen beyond this computer, say by which host name browsers will call it.",
            where=f"--host {host}",
            remedy="Add --name, for example --name workbench.example.org.",
        )
    settings = Settings(
        store=store or default_store(),
        accounts=accounts or not (local or class_),
        names=(*LOOPBACK_NAMES, *(one.lower() for one in name or ()), *found),
        classes_only=class_,
        limits=Limits(upload_bytes=upload_mib * MEBIBYTE),
        record=record,
        live=live,
        nats=nats,
        notices=notices,
        mllp=mllp,
    )
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listening = socket.socket(family, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
    except OSError as error:
        raise ServeError(
            f"cannot listen there: {error.strerror}.",
            where=f"{host} port {port}",
            remedy="Choose another --port, or end what listens there.",
        ) from error
    settings = replace(
        settings, reach=tuple(f"http://{one}:{listening.getsockname()[1]}" for one in found)
    )
    # Connections queue from here on, while the rest loads.
    listening.listen(128)

    import uvicorn

    from ebbline.web.app import create_app
    from ebbline.web.operations.log import configure, event

    try:
        configure(as_json=log == "json", file=log_file)
    except OSError as error:
        raise ServeError(
            f"the log cannot be written: {error.strerror}.",
            where=str(log_file),
            remedy="Choose a directory that exists and may be written to.",
        ) from error
    application = create_app(settings, warm=True)
    if settings.accounts and not application.state.accounts.everyone():
        raise ServeError(
            "nobody could sign in: there is no account yet.",
            where=str(settings.store),
            remedy="Make one first: ebbline accounts add NAME --role admin.",
        )
    shown = "127.0.0.1" if host == "0.0.0.0" else f"[{host}]" if ":" in host else host
    typer.echo(f"The workbench is open at http://{shown}:{listening.getsockname()[1]}/")
    for address in settings.reach:
        typer.echo(f"Phones in this network join classes at {address}/join")
    typer.echo("Ctrl-C closes it.")
    event("started", accounts=settings.accounts, names=",".join(settings.names))
    config = uvicorn.Config(
        application,
        log_config=None,
        access_log=False,
        lifespan="on",
        # Whoever else says for whom it speaks is not believed.
        proxy_headers=bool(proxy),
        forwarded_allow_ips=list(proxy or ()),
        server_header=False,
        h11_max_incomplete_event_size=64 * 1024,
    )
    uvicorn.Server(config).run(sockets=[listening])


def _for_a_class(host: str) -> tuple[tuple[str, ...], str]:
    """The addresses under which phones reach this computer, and where to listen."""
    from ebbline.web.classroom.addresses import own_addresses

    if not _is_loopback(host) and host != "0.0.0.0":
        return (host.lower(),), host
    found = own_addresses()
    if not found:
        raise ServeError(
            "this computer is in no network that phones could be in.",
            where="--class",
            remedy="Join a wireless network, or make one with this computer's hotspot.",
        )
    return found, "0.0.0.0"


@accounts_app.command("add")
def add(name: Name, role: RoleWord = "reader", store: StorePath = None) -> None:
    """Add an account; the password is asked for."""
    from ebbline.web.auth.accounts import role_of

    wanted = role_of(role)
    accounts = _accounts(store)
    password = typer.prompt("Password", hide_input=True, confirmation_prompt=True)
    accounts.add(name, wanted, password)
    typer.echo(f"{name} may sign in as {wanted}.")


@accounts_app.command("import")
def import_list(
    people: Annotated[Path, typer.Argument(help="A CSV file with the columns name and role.")],
    passwords: Annotated[
        Path, typer.Option("--passwords", help="CSV file to write the first passwords to.")
    ],
    store: StorePath = None,
) -> None:
    """Add every account of a list, each with a first password of its own; all of them or none.

    The passwords are written to a file that only you can read: hand each to its owner, who changes
    it under their name, and remove the file.

    Example: ebbline accounts import staff.csv --passwords first-passwords.csv
    """
    from ebbline.cli.output import Outputs
    from ebbline.web.auth.account_list import read_list, with_passwords

    Outputs(force=False, read=[people]).announce(passwords)
    wanted = with_passwords(read_list(people))
    accounts = _accounts(store)
    lines = ["name,role,password", *(",".join(map(_quoted, one)) for one in wanted)]
    # First the file: nobody must have an account whose password is nowhere.
    private = os.open(passwords, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(private, "w", encoding="utf-8") as out:
        out.write("\n".join(lines) + "\n")
    try:
        accounts.add_all(wanted)
    except EbblineError:
        passwords.unlink()
        raise
    count = f"{len(wanted)} {'account' if len(wanted) == 1 else 'accounts'}"
    typer.echo(f"Added {count}. First passwords: {passwords} (hand them out, then remove it).")


def _quoted(field: str) -> str:
    return '"' + field.replace('"', '""') + '"'


@accounts_app.command("list")
def show(store: StorePath = None) -> None:
    """List all accounts."""
    for one in _accounts(store).everyone():
        state = "shut out" if one.disabled else "may sign in"
        typer.echo(f"{one.name}\t{one.role}\t{state}\tsince {one.created_at:%Y-%m-%d}")


@accounts_app.command("role")
def change_role(
    name: Name,
    role: Annotated[str, typer.Argument(help="reader, teacher or admin.")],
    store: StorePath = None,
) -> None:
    """Give an account another role."""
    from ebbline.web.auth.accounts import role_of

    _accounts(store).change_role(name, role_of(role))
    typer.echo(f"{name} is now {role}.")


@accounts_app.command("password")
def change_password(name: Name, store: StorePath = None) -> None:
    """Set an account's password; all its sign-ins end."""
    accounts = _accounts(store)
    password = typer.prompt("New password", hide_input=True, confirmation_prompt=True)
    accounts.change_password(name, password)
    typer.echo(f"The password of {name} is changed.")


@accounts_app.command("shut")
def shut(
    name: Name,
    again: Annotated[bool, typer.Option("--open", help="Let the account in again.")] = False,
    store: StorePath = None,
) -> None:
    """Shut an account out at once; what it wrote stays."""
    _accounts(store).disable(name, disabled=not again)
    typer.echo(f"{name} {'may sign in again' if again else 'is shut out'}.")


def _accounts(store: Path | None) -> Accounts:
    from ebbline.web.auth.accounts import Accounts
    from ebbline.web.settings import Limits, default_store
    from ebbline.web.store import Store

    return Accounts(Store(store or default_store()), Limits())


def _is_loopback(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False
