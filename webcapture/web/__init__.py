"""The web tool: pages for phones and a JSON interface, over plain http on a local network.

``create_app`` builds it. The blueprints: :mod:`pages` for people, :mod:`api` for programs, :mod:`assets` for the files the
pages are made of. :mod:`measuring` stands between them and the measurement; :mod:`security` and :mod:`errors` hold for all.
"""

from __future__ import annotations

import secrets
from dataclasses import dataclass, field
from pathlib import Path

from flask import Flask
from werkzeug.middleware.proxy_fix import ProxyFix

from webcapture.settings import DEFAULTS, Settings
from webcapture.store.authority import Papers
from webcapture.store.store import Store
from webcapture.web import (
    api,
    assets,
    contexts,
    errors,
    evidence,
    glances,
    identity,
    join,
    keeping,
    language,
    lead,
    limits,
    own_runs,
    pages,
    parts,
    pwa,
    references,
    results,
    room,
    script_words,
    security,
    station,
    trust,
)
from webcapture.web.examples import Examples
from webcapture.web.foreman import Foreman, Work
from webcapture.web.foreman import measure as measure_for_records
from webcapture.web.measuring import Desk, Measure, measure

ROOT = Path(__file__).resolve().parents[2]
"""The checkout, which holds ``static/`` and ``templates/``."""


@dataclass(frozen=True, slots=True)
class WebConfig:
    """What one running web tool is made of."""

    settings: Settings = DEFAULTS
    measure: Measure = measure
    """The measurement itself; tests put another one here."""
    examples: Path | None = None
    """A folder of example photos to offer, or None to offer none."""
    data: Path | None = None
    """The folder of the records, or None for a tool that keeps none: photos can then be tried out, and nothing else."""
    database: str | None = None
    """An SQLAlchemy URL where the records stand in another database than the folder's own."""
    foreman: bool = False
    """Whether this process measures what stations send; only one process of an installation may."""
    host: str = ""
    """The address it listens on, for telling phones where it is; empty for all of this computer's."""
    trusted_hosts: tuple[str, ...] | None = None
    """Names under which it may be asked for, besides this computer's own; None to answer under every name, as in a test."""
    behind_proxy: bool = False
    """Whether X-Forwarded headers of one reverse proxy are believed."""
    papers: Papers | None = None
    """The certificates of an encrypted tool, or None."""
    setup_key: str = field(default_factory=lambda: secrets.token_urlsafe(16), repr=False)
    """Whoever has it may set the lead's first passphrase; made anew at every start."""
    work: Work = measure_for_records
    """What measures a photo of the records; tests put another one here."""
    lang: str = ""
    """The language of every page, or empty for what each reader's browser asks for."""
    messages: Path = language.MESSAGES
    """The folder of the translations; tests put another one here."""


def create_app(config: WebConfig | None = None) -> Flask:
    """A web tool of its own, sharing no state with another; ``config`` None takes every default."""
    config = config or WebConfig()
    app = Flask("webcapture", static_folder=None, template_folder=str(ROOT / "templates"))
    app.json.sort_keys = False  # type: ignore[attr-defined]  # people read it too: in the contract's order
    app.config["MAX_CONTENT_LENGTH"] = config.settings.web.max_request_bytes
    app.config["MAX_FORM_PARTS"] = 2 * config.settings.web.max_photos
    app.extensions["desk"] = Desk(config.measure, config.settings.web)
    app.extensions["examples"] = Examples(config.examples, config.settings.web)
    app.extensions["settings"] = config.settings
    if config.data is not None:
        _add_records(app, config, config.data)
    language.init_app(app, config.messages, config.lang)
    if config.behind_proxy:
        app.wsgi_app = ProxyFix(app.wsgi_app, x_for=1, x_proto=1, x_host=1)  # type: ignore[method-assign]
    security.init_app(app, config.trusted_hosts)
    limits.init_app(app, config.settings.rate)
    for part in (errors, contexts, identity, script_words):
        part.init_app(app)
    assets.init_app(app, ROOT / "static", config.settings.web.static_age_s)
    pwa.init_app(app, ROOT / "static")
    app.extensions["papers"] = config.papers
    app.register_blueprint(pages.pages)
    app.register_blueprint(api.api)
    app.register_blueprint(trust.trust)
    return app


def _add_records(app: Flask, config: WebConfig, folder: Path) -> None:
    """What a tool with records has besides."""
    store = Store(folder, config.database)
    app.extensions["store"] = store
    app.extensions["setup_key"], app.extensions["host"] = config.setup_key, config.host
    app.extensions["foreman"] = Foreman(store, config.settings, config.work)
    glances.init_app(app, config.settings.glance.at_once)
    for blueprint in (
        station.station, results.results, lead.lead, room.room, own_runs.own_runs, evidence.evidence, join.join,
        references.reading, keeping.keeping, parts.parts,
    ):  # fmt: skip
        app.register_blueprint(blueprint)
    lead.init_app(app)
    if config.foreman:
        app.extensions["foreman"].start()
