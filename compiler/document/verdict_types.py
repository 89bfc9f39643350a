"""What was proved or refuted, as the document has it."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from msgspec import Meta

from bellcrank.document.conditions import NULL, TEXT, fields, just, rule
from bellcrank.document.part import (
    Assumption,
    Count,
    DrivePosition,
    EventName,
    Part,
    Place,
    RouteName,
    Rules,
    Sentence,
    Some,
    SomeUnique,
    Unique,
    about,
)
from bellcrank.proof.standing.obligations import PropertyName
from bellcrank.proof.verdict import Conclusion as ConclusionOfProof
from bellcrank.proof.verdict import MovingOutcome as OutcomeOfMoving
from bellcrank.proof.verdict import Outcome as OutcomeOfProof

Outcome = Annotated[
    OutcomeOfProof,
    Meta(
        title="Outcome",
        description="`proved`: it holds in every state the locking allows. `refuted`: it fails in "
        "one at least. `undecided`: no answer, within the limit of time if one was given.",
    ),
]

Conclusion = Annotated[
    ConclusionOfProof,
    Meta(
        title="Conclusion",
        description="`proved`: everything holds. `unmet`: all that keeps trains safe is proved, "
        "but an expectation is not met. `refuted`: something unsafe can be, or what should be "
        "possible never is. `undecided`: no answer on one of these, within the limit of time if "
        "one was given.",
    ),
]

# ----------------------------------------------------------- routes as they stand

StandingProperty = Annotated[
    PropertyName,
    Meta(
        title="Standing property",
        description="What must never fail. `track`: no two set routes lead over the same section "
        "or fitting. `positions`: drives on a set route lie right. `overlaps`: nothing is set into "
        "the overlap of a set route. `flanks`: drives that protect a set route's flank lie right.",
    ),
]


class PropertyResult(Part):
    """A property of routes as they stand, and whether it holds."""

    name: StandingProperty
    sentence: Annotated[Sentence, about("The property as a sentence without its full stop.")]
    outcome: Outcome
    obligations: Annotated[
        Count,
        about(
            "How many single things it asks of this layout; 0 where the layout has nothing that "
            "it is about, such as no overlap."
        ),
    ]


class Hazard(Part):
    """An unsafe set of routes that the locking lets stand."""

    violates: Annotated[StandingProperty, about("The property that it violates.")]
    routes: Annotated[
        SomeUnique[RouteName],
        about("A smallest set of routes in which it happens, the routes concerned first."),
    ]
    sentence: Annotated[Sentence, about("How it is unsafe, as a sentence without its full stop.")]
    missing_rule: Annotated[
        Sentence,
        about(
            "The rule that would prevent it, as it would be written in the layout.",
            "W1 to T1 locks G1 to T2",
        ),
    ]
    instead_of: Annotated[
        Place | None,
        about(
            "Where the written rule stands that the missing rule would replace, as "
            "file:line:column; null where it is to be added."
        ),
    ]


class ExpectationResult(Part):
    """An `expect` line of the layout, and whether it holds."""

    expectation: Annotated[
        Sentence,
        about("The expectation with the full names of its routes.", "W1 to G1 with D1 to YARD"),
    ]
    outcome: Annotated[Outcome, about("`proved` if it holds, `refuted` if it fails.")]
    why: Annotated[
        Sentence | None,
        about("What stands against it, as a sentence without its full stop; null where it holds."),
    ]

    rules: ClassVar[Rules] = {
        "why": rule(fields(outcome=just("proved")), fields(why=NULL), fields(why=TEXT))
    }


class Verdict(Part):
    """The outcome of the standing check: which routes the locking lets be set together, and
    whether any such set is unsafe where it stands."""

    outcome: Annotated[
        Conclusion,
        about(
            "`refuted` if any property is, else `undecided` if any is, else `unmet` if any "
            "expectation is refuted, else `undecided` if any is, else `proved`."
        ),
    ]
    solver: Annotated[
        Sentence, about("What decided it: the solver's name and version.", "z3 4.13.0")
    ]
    properties: Annotated[
        Some[PropertyResult], about("Every property that must hold, and whether it does.")
    ]
    hazards: Annotated[
        list[Hazard],
        about(
            "Unsafe sets of routes that the locking lets stand, the smallest first. Empty where "
            "the properties are proved."
        ),
    ]
    hazards_complete: Annotated[bool, about("Whether there are no more hazards than those listed.")]
    expectations: Annotated[
        list[ExpectationResult],
        about("Every `expect` line of the layout, and whether it holds."),
    ]
    never_set: Annotated[
        Unique[RouteName], about("The names of routes that the locking never lets be set.")
    ]
    never_set_complete: Annotated[
        bool,
        about("Whether it was found out of every route if it can be set; false if time ran out."),
    ]
    assumptions: Annotated[
        Some[Assumption],
        about(
            "What the verdict assumes. It is worth nothing on a railway where one of these is "
            "not so."
        ),
    ]


# ------------------------------------------------------------- the moving railway

MovingOutcome = Annotated[
    OutcomeOfMoving,
    Meta(
        title="Moving outcome",
        description="`proved`: a solver found every obligation unsatisfiable. `shown`: a run that "
        "was replayed shows that it can happen. `refuted`: by a story, or by a solver where "
        "something should be possible. `undecided`: none of these.",
    ),
]

Stopped = Annotated[
    Literal["by the time limit", "by Ctrl-C"],
    Meta(title="Stopped", description="What cut a proof short."),
]


class StoryStep(Part):
    """One step of a story."""

    sentence: Annotated[Sentence, about("What happens, as a sentence without its full stop.")]
    event: Annotated[EventName, about("The event's name in `machine`.")]
    place: Annotated[
        Place | None,
        about("Where it stands in the source, as file:line:column; null where it has no place."),
    ]


class Story(Part):
    """How a property comes to be violated, from rest."""

    start: Annotated[
        list[DrivePosition],
        about("Drives that do not lie in their first position at the start."),
    ]
    steps: Annotated[list[StoryStep], about("The events in their order.")]
    ending: Annotated[
        Sentence,
        about("What is wrong after the last step, as a sentence without its full stop."),
    ]
    shortest: Annotated[bool, about("Whether no run of the whole machine is shorter.")]


class MovingResult(Part):
    """One property of the moving railway, and whether it holds."""

    name: Annotated[Sentence, about("The property's name; an expectation by its text.", "meetings")]
    sentence: Annotated[Sentence, about("The property as a sentence without its full stop.")]
    expectation: Annotated[
        bool,
        about(
            "Whether it is an `expect` line of the layout; false for a property that keeps trains "
            "safe or the railway working."
        ),
    ]
    outcome: MovingOutcome
    obligations: Annotated[
        Count,
        about("Clauses that had to be shown, or things that must be able to happen."),
    ]
    story: Annotated[
        Story | None,
        about("How it is violated; null unless it is refuted by a story."),
    ]
    open: Annotated[
        list[Sentence],
        about(
            "Of an undecided property what could not be shown; of one refuted without a story "
            "what can never happen."
        ),
    ]
    no_story_within: Annotated[
        Count,
        about(
            "Events of which no run violates it, where it is undecided and was looked for in "
            "the states; 0 otherwise."
        ),
    ]


class Moving(Part):
    """The outcome of the moving proof: whether anything goes wrong while drives move, trains
    pass and sections release."""

    outcome: Annotated[
        Conclusion,
        about(
            "`refuted` if any property is, else `undecided` if any is or the proof was cut "
            "short, else `unmet` if any expectation is refuted, else `undecided` if any is, else "
            "`proved`."
        ),
    ]
    solvers: Annotated[
        Some[Sentence],
        about(
            "What decided the obligations, each with its version; a second one if every "
            "obligation was decided again.",
            ["z3 4.13.0"],
        ),
    ]
    disagreement: Annotated[
        Sentence | None,
        about("What the second solver did not confirm; null as it should be."),
    ]
    stopped: Annotated[Stopped | None, about("What cut the proof short; null if nothing did.")]
    obligations: Annotated[Count, about("Obligations stated, of one event and one clause each.")]
    questions: Annotated[
        Count, about("Different obligations among them, which the solver decided.")
    ]
    kept: Annotated[
        Count,
        about(
            "Obligations to which the solver's answers were kept from earlier proofs, of the same "
            "words; 0 in all that is built, which is proved anew."
        ),
    ]
    states: Annotated[Count, about("States looked at one by one; 0 where that was not needed.")]
    results: Annotated[Some[MovingResult], about("Every property and expectation.")]
    assumptions: Annotated[
        Some[Assumption],
        about(
            "What the verdict assumes. It is worth nothing on a railway where one of these is "
            "not so."
        ),
    ]
