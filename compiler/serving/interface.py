"""The description of the interface by HTTP: OpenAPI 3.1, made of the types by which it is
checked."""

from __future__ import annotations

from functools import cache
from typing import Any

import msgspec

from bellcrank.serving import asked as a
from bellcrank.serving.standing import State
from bellcrank.version import NOTICE, __version__

_REF = "#/components/schemas/{name}"

_ASKED: tuple[tuple[str, type, str], ...] = (
    ("request", a.Route, "Ask for a route."),
    ("cancel", a.Route, "Cancel a route."),
    ("confirm", a.Confirmed, "Say what was seen of a train where no report tells."),
    ("thrown", a.Thrown, "Say that a drive was thrown by hand, as was asked."),
    ("start", a.Nothing, "Start the signal box: somebody has looked, and no train is moving."),
    ("stop", a.Nothing, "Stop all: every signal goes to stop, and nothing is thrown."),
    ("simulated", a.Act, "Do something on the simulated railway; only where there is one."),
)

_LOOKED_AT: tuple[tuple[str, str, str], ...] = (
    ("state", "How the railway stands.", "State"),
    ("log", "The last entries of the journal; `after`: only those behind this number.", "Log"),
)

_WRONG = {
    "400": "What was sent is not what is asked for here.",
    "401": "There is no key, or a wrong one.",
    "403": "With this key one may not do this.",
    "404": "There is no such route or drive.",
    "429": "Too much was asked at once.",
}


@cache
def described() -> bytes:
    """The description, as JSON."""
    types = [State, a.Answer, a.Wrong, a.Log, *dict.fromkeys(type_ for _, type_, _ in _ASKED)]
    _, schemas = msgspec.json.schema_components(types, ref_template=_REF)
    paths: dict[str, Any] = {}
    for path, type_, what in _ASKED:
        paths[f"/api/{path}"] = {
            "post": {
                "summary": what,
                "operationId": path,
                "requestBody": {"required": True, "content": _content(type_.__name__)},
                "responses": _answers("Answer", "What became of it."),
            }
        }
    for path, what, name in _LOOKED_AT:
        get: dict[str, Any] = {
            "summary": what,
            "operationId": path,
            "responses": _answers(name, what),
        }
        if path == "log":
            number = {"type": "integer", "minimum": 0}
            get["parameters"] = [{"name": "after", "in": "query", "schema": number}]
        paths[f"/api/{path}"] = {"get": get}
    paths["/api/follow"] = {
        "get": {
            "summary": "Follow it: server-sent events. `state` has all of it, as `/api/state`; "
            "each `changes` has what is other: of mappings only the names that have "
            "changed (null for one that is gone), of `happened` what is new, and `log`, what "
            "was decided.",
            "operationId": "follow",
            "responses": {
                "200": {
                    "description": "Events without end.",
                    "content": {"text/event-stream": {"schema": {"type": "string"}}},
                }
            },
        }
    }
    paths["/metrics"] = {
        "get": {
            "summary": "Figures, in the text format that Prometheus reads.",
            "operationId": "metrics",
            "responses": {
                "200": {
                    "description": "All figures.",
                    "content": {"text/plain": {"schema": {"type": "string"}}},
                }
            },
        }
    }
    return msgspec.json.encode(
        {
            "openapi": "3.1.0",
            "info": {"title": "Bellcrank", "version": __version__, "description": NOTICE},
            "security": [{"key": []}],
            "paths": paths,
            "components": {
                "schemas": schemas,
                "securitySchemes": {"key": {"type": "http", "scheme": "bearer"}},
            },
        }
    )


def _content(name: str) -> dict[str, Any]:
    return {"application/json": {"schema": {"$ref": _REF.format(name=name)}}}


def _answers(name: str, what: str) -> dict[str, Any]:
    wrong = {
        status: {"description": why, "content": _content("Wrong")} for status, why in _WRONG.items()
    }
    return {"200": {"description": what, "content": _content(name)}, **wrong}
