"""What is asked of the server, and what nobody may ask."""

from __future__ import annotations

import asyncio
import json
from typing import Any

import pytest
from served import ADA, BEN, CLEO, run, served, until

from bellcrank.serving.interface import described


def test_a_train_is_let_in_over_the_interface() -> None:
    async def test() -> None:
        async with served() as here:
            status, answer = await here.post("start", key=ADA, Bellcrank_Name="Ada%20L.")
            assert (status, answer["outcome"]) == (200, "started")
            assert answer["told"] == ["Ada L. says that no train is moving: it runs"]
            assert (await here.post("request", {"route": "W to C"}))[1]["outcome"] == "done"
            status, answer = await here.post("request", {"route": "W to B"})
            assert answer["outcome"] == "refused" and "W to C" in "; ".join(answer["told"])
            assert (await here.post("simulated", {"key": "come WEST"}))[1]["outcome"] == "done"
            await until(lambda: here.railway.stands_whole_in("C") is not None)
            await until(lambda: here.box.stage("W to C") == "idle")
            state = await (await here.get("/api/state")).json()
            assert state["running"] and state["sections"]["C"]["said"] == "occupied"
            assert state["trains"][0]["told"].startswith("Train 1 ")
            log = await (await here.get("/api/log")).json()
            told = [words for entry in log["entries"] for words in entry["told"]]
            assert "C is reported occupied by the train of W to C" in told

    run(test)


async def _events(answer: Any, count: int) -> list[tuple[str, Any]]:
    found: list[tuple[str, Any]] = []
    name = ""
    async for line in answer.content:
        text = line.decode().rstrip("\n")
        if text.startswith("event: "):
            name = text[7:]
        elif text.startswith("data: "):
            found.append((name, json.loads(text[6:])))
            if len(found) == count:
                return found
    raise AssertionError(found)


def test_whoever_follows_gets_all_and_then_what_changes() -> None:
    async def test() -> None:
        async with served() as here:
            follow = await here.get("/api/follow", key=CLEO)
            [(name, whole)] = await _events(follow, 1)
            assert name == "state" and whole["running"] is False
            await here.post("start")
            await here.post("request", {"route": "W to B"})
            told: dict[str, Any] = {}
            log: list[Any] = []
            async with asyncio.timeout(20):
                while told.get("routes", {}).get("W to B") != "set":
                    [(name, changes)] = await _events(follow, 1)
                    assert name == "changes"
                    log += changes.get("log", [])
                    told |= changes
            assert "C" not in told.get("sections", {})  # nothing has changed there
            assert [e["kind"] for e in log][:2] == ["start", "request"]
            follow.close()

    run(test)


def test_a_train_is_put_on_the_track_where_the_state_says_it_may_be() -> None:
    async def test() -> None:
        async with served() as here:
            state = await (await here.get("/api/state")).json()
            [put] = [act for act in state["may"] if act["key"] == "put S"]
            assert put["text"] == "Put a train before S" and put["train"] is None
            assert (await here.post("simulated", {"key": "put S"}))[1]["outcome"] == "done"
            state = await (await here.get("/api/state")).json()
            assert state["sections"]["B"]["said"] == "occupied"
            assert "put S" not in [act["key"] for act in state["may"]]

    run(test)


def test_what_the_run_before_left_is_told_until_somebody_starts() -> None:
    async def test() -> None:
        async with served(left=("Set then: W to C.",)) as here:
            state = await (await here.get("/api/state")).json()
            assert state["left"] == ["Set then: W to C."]
            await here.post("start")
            await here.post("stop")
            state = await (await here.get("/api/state")).json()
            assert state["left"] == []

    run(test)


def test_what_happens_on_the_simulated_railway_is_told_once_and_to_those_who_come_later() -> None:
    async def test() -> None:
        async with served() as here:
            follow = await here.get("/api/follow", key=CLEO)
            [(_, whole)] = await _events(follow, 1)
            assert whole["happened"] == []
            await here.post("simulated", {"key": "come WEST"})
            told: list[Any] = []
            async with asyncio.timeout(20):
                while not any(each["text"] == "train 1 comes to WEST" for each in told):
                    [(_, changes)] = await _events(follow, 1)
                    told += changes.get("happened", [])
                await until(lambda: here.railway.trains()[0].waits_at == "W")
                assert (await here.post("simulated", {"key": "disobey 1 W"}))[1]["told"] == []
                while "fault" not in [each["kind"] for each in told]:
                    [(_, changes)] = await _events(follow, 1)
                    told += changes.get("happened", [])
            assert [each["number"] for each in told] == list(range(1, len(told) + 1))
            assert ("fault", "train 1 passes W at stop") in [(e["kind"], e["text"]) for e in told]
            state = await (await here.get("/api/state")).json()
            assert state["happened"][: len(told)] == told
            follow.close()

    run(test)


def test_a_train_that_has_had_an_accident_says_so() -> None:
    async def test() -> None:
        async with served() as here:
            await here.post("simulated", {"key": "come WEST"})
            await until(lambda: here.railway.trains()[0].waits_at == "W")
            here.railway.throw("P", "diverging")
            await here.post("simulated", {"key": "disobey 1 W"})
            await until(lambda: here.railway.accidents)
            state = await (await here.get("/api/state")).json()
            [train] = state["trains"]
            assert train["accident"] == here.railway.accidents[0].text
            assert train["told"] == f"Train 1 has had an accident: {train['accident']}"
            [act] = [act for act in state["may"] if act["train"] == 1]
            assert (act["key"], act["seldom"]) == ("take 1", False)

    run(test)


@pytest.mark.parametrize("key", [None, "", "wrong", "a" * 19])
def test_without_a_key_nothing_is_asked_or_told(key: str | None) -> None:
    async def test() -> None:
        async with served() as here:
            for path in ("/api/state", "/api/layout", "/api/log", "/api/follow", "/metrics",
                         "/openapi.json"):  # fmt: skip
                answer = await here.get(path, key)
                assert answer.status == 401, path
                assert answer.headers["WWW-Authenticate"] == "Bearer"
                assert "error" in await answer.json()
            assert (await here.post("stop", key=key))[0] in (401, 429)
            assert here.box.because == "it has not been started yet"
            assert (await here.get("/", None)).status == 200  # the page without what it shows

    run(test)


def test_keys_cannot_be_tried_one_after_another() -> None:
    async def test() -> None:
        async with served() as here:
            statuses = [(await here.get("/api/state", f"guess{n}")).status for n in range(30)]
            assert statuses[:10] == [401] * 10 and statuses[-1] == 429
            assert (await here.get("/api/state")).status == 200

    run(test)


def test_a_page_from_elsewhere_cannot_ask() -> None:
    async def test() -> None:
        async with served() as here:
            status, answer = await here.post("stop", Origin="http://elsewhere.example")
            assert (status, answer["error"]) == (
                403, "a page from elsewhere may not ask this server"
            )  # fmt: skip
            assert (await here.post("stop", Origin=here.url))[0] == 200
            # A form can send no JSON.
            answer = await here.client.post(
                here.url + "/api/stop", data={"a": "b"}, headers={"Authorization": f"Bearer {ADA}"}
            )
            assert answer.status == 415
            # Nor can a browser be asked first whether it may (Fetch, section 3.2).
            asked = await here.client.options(
                here.url + "/api/stop",
                headers={"Origin": "http://elsewhere.example",
                         "Access-Control-Request-Method": "POST"},
            )  # fmt: skip
            assert "Access-Control-Allow-Origin" not in asked.headers and asked.status >= 400

    run(test)


def test_a_name_of_anothers_does_not_lead_here() -> None:
    async def test() -> None:
        async with served(hosts=frozenset({"127.0.0.1", "localhost"})) as here:
            assert (await here.get("/api/state")).status == 200
            assert (await here.get("/api/state", Host="evil.example")).status == 421
            assert (await here.get("/", Host="evil.example")).status == 421

    run(test)


def test_each_works_no_more_than_is_stated() -> None:
    async def test() -> None:
        async with served() as here:
            await here.post("start")
            assert (await here.post("request", {"route": "W to B"}, BEN))[0] == 403
            assert (await here.post("request", {"route": "S to WEST"}, BEN))[0] == 200
            assert (await here.post("cancel", {"route": "W to B"}, BEN))[0] == 403
            assert (await here.post("stop", key=CLEO))[0] == 403
            assert here.box.running
            # Whoever works anything may stop all; to start is for those who work it all.
            assert (await here.post("stop", key=BEN))[1]["told"] == ["all was stopped by Ben"]
            assert (await here.post("start", key=BEN))[0] == 403

    run(test)


@pytest.mark.parametrize(
    ("path", "body", "status"),
    [
        ("request", {}, 400),
        ("request", {"route": 1}, 400),
        ("request", {"route": "W to B", "more": 1}, 400),
        ("request", {"route": ""}, 400),
        ("request", {"route": "x" * 201}, 400),
        ("request", [], 400),
        ("request", {"route": "no such"}, 404),
        ("confirm", {"what": "seen", "route": "W to B"}, 400),
        ("thrown", {"drive": "P"}, 404),
        ("simulated", {"key": "come EAST"}, 200),
        ("nothing", {}, 404),
    ],
)
def test_what_is_sent_is_checked(path: str, body: object, status: int) -> None:
    async def test() -> None:
        async with served() as here:
            assert (await here.post(path, body))[0] == status

    run(test)


def test_limits_on_size_and_rate() -> None:
    async def test() -> None:
        async with served() as here:
            assert (await here.post("request", {"route": "x" * 10_000}))[0] == 413
            statuses = [(await here.post("stop"))[0] for _ in range(100)]
            assert statuses[:50] == [200] * 50 and 429 in statuses
            assert here.live.waiting == 0

    run(test)


def test_every_answer_forbids_what_a_page_here_never_needs() -> None:
    async def test() -> None:
        async with served() as here:
            for path in ("/", "/api/state", "/nothing"):
                headers = (await here.get(path)).headers
                assert "default-src 'none'" in headers["Content-Security-Policy"]
                assert headers["X-Content-Type-Options"] == "nosniff"

    run(test)


def test_figures_for_the_curious() -> None:
    async def test() -> None:
        async with served() as here:
            await here.post("start")
            await here.post("request", {"route": "W to C"})
            await here.post("request", {"route": "W to B"})
            answer = await here.get("/metrics")
            text = await answer.text()
            assert answer.headers["Content-Type"].startswith("text/plain")
            assert 'bellcrank_throws_total{drive="P"} 1.0' in text
            assert 'bellcrank_heard_total{kind="request",outcome="refused"} 1.0' in text
            assert "bellcrank_running 1.0" in text
            assert "bellcrank_reaction_seconds_count" in text

    run(test)


def test_the_description_names_all_that_can_be_asked() -> None:
    async def test() -> None:
        told = json.loads(described())
        assert told["openapi"] == "3.1.0"
        async with served() as here:
            for path, methods in told["paths"].items():
                for method in methods:
                    if path == "/api/follow":
                        continue
                    if method == "get":
                        answer = await here.get(path)
                        assert answer.status == 200, path
                    else:
                        assert (await here.post(path.removeprefix("/api/"), {}))[0] in (200, 400)
            state = await (await here.get("/api/state")).json()
        import jsonschema

        schema = {"$ref": "#/components/schemas/State", "components": told["components"]}
        jsonschema.validate(state, schema, cls=jsonschema.Draft202012Validator)
        jsonschema.validate({"outcome": "done", "told": []},
                            {"$ref": "#/components/schemas/Answer",
                             "components": told["components"]})  # fmt: skip

    run(test)
