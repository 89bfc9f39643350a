"""A reader of the machine, written from targets/README.md and the JSON Schema alone.

Takes the text of a layout.json and executes its test vectors. Nothing of the compiler
is used here, nor anything but the standard library: whoever writes control software
starts from as much.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

Data = dict[str, Any]
State = dict[str, str]


class Machine:
    def __init__(self, data: Data) -> None:
        self.variables: list[Data] = data["variables"]
        self.events: dict[str, Data] = {event["name"]: event for event in data["events"]}

    def start(self, others: State) -> State:
        """Every variable with the first of its initial values, save those that are named."""
        state = {v["name"]: v["initial"][0] for v in self.variables}
        domains = {v["name"]: v["domain"] for v in self.variables}
        for name, value in others.items():
            if value not in domains[name] or value == state[name]:
                raise ValueError(f"{name} cannot be {value}, or is so already")
        return {**state, **others}

    def possible(self, name: str, state: State) -> bool:
        for clause in self.events[name]["guard"]:
            if not any(state[literal["variable"]] in literal["one_of"] for literal in clause):
                return False
        return True

    def after(self, name: str, state: State) -> State:
        following = dict(state)
        for update in self.events[name]["updates"]:
            variable = update["variable"]
            for becomes in update["becomes"]:
                if state[variable] in becomes["from"]:
                    following[variable] = becomes["to"]
        return following


def disagreements(text: str) -> list[str]:
    """Where a reader of a layout.json finds something else than its vectors say."""
    document = json.loads(text)
    return list(disagreeing(Machine(document["machine"]), document["vectors"]))


def disagreeing(machine: Machine, vectors: Data) -> Iterator[str]:
    for number, run in enumerate(vectors["runs"]):
        state = machine.start(run["start"])
        for place, step in enumerate(run["steps"]):
            state, wrong = tried(machine, state, step)
            if wrong:
                yield f"run {number}, step {place}: {wrong}"
    for number, case in enumerate(vectors["cases"]):
        given = machine.start(case["given"])
        for place, step in enumerate(case["tries"]):
            _, wrong = tried(machine, given, step)
            if wrong:
                yield f"case {number}, try {place}: {wrong}"


def tried(machine: Machine, state: State, step: Data) -> tuple[State, str]:
    """The state after a step, and what is not as expected."""
    name = step["event"]
    possible = machine.possible(name, state)
    following = machine.after(name, state) if possible else state
    changes = {v: value for v, value in following.items() if state[v] != value}
    if possible is not step["possible"]:
        return following, f"{name} is {'' if possible else 'not '}possible"
    if changes != step["changes"]:
        return following, f"{name} changes {changes} and not {step['changes']}"
    return following, ""
