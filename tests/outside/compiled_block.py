"""The block and its example program, compiled by an IEC 61131-3 compiler of other authors.

The compiler is matiec, which makes C of Structured Text; MATIEC names the folder that it was
built in, with `iec2c` and `lib`. Here is the program around that C: it moves the clock, sets
the terminals, calls the example program once a cycle, and prints what the block puts out.
"""

from __future__ import annotations

import os
import re
import subprocess
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

from controller_runs import Cycle

FOLDER = Path(os.environ.get("MATIEC", "/nowhere"))

MAIN = r"""
#include <stdio.h>
#include <string.h>
#include <time.h>
#include "iec_std_lib.h"
TIME __CURRENT_TIME;
BOOL __DEBUG;
#define __LOCATED_VAR(type, name, ...) type value##name; type *name = &value##name;
#include "LOCATED_VARIABLES.h"
#include "POUS.h"
#include "POUS.c"
static EXAMPLE program;
static BOOL *inputs[] = {INPUTS};
int main(void) {
  long now, cut, count, place;
  EXAMPLE_init__(&program, 0);
  while (scanf("%ld %ld %ld", &now, &cut, &count) == 3) {
    __CURRENT_TIME.tv_sec = now / 1000;
    __CURRENT_TIME.tv_nsec = now % 1000 * 1000000;
    if (cut) {
      memset(&program, 0, sizeof program);
      EXAMPLE_init__(&program, 0);
    }
    for (unsigned n = 0; n < sizeof inputs / sizeof *inputs; n++) *inputs[n] = 0;
    while (count-- && scanf("%ld", &place) == 1) *inputs[place] = 1;
    EXAMPLE_body__(&program);
    OUTPUTS
    putchar('\n');
  }
  fprintf(stderr, "%ld %ld\n", (long) sizeof program.RAILWAY, (long) clock());
}
"""


def there() -> bool:
    return (FOLDER / "iec2c").is_file()


def compiled(files: Mapping[str, bytes], folder: Path, outputs: Iterable[str]) -> Path:
    """The program of what the target wrote; compilers that refuse it raise."""
    text = files["interlocking.st"] + files["example.st"]
    (folder / "all.st").write_bytes(text)
    command = [FOLDER / "iec2c", "-I", FOLDER / "lib", "-T", folder, folder / "all.st"]
    made = subprocess.run(command, capture_output=True, text=True)
    assert made.returncode == 0 and "error" not in made.stderr, made.stderr
    example = files["example.st"].decode()
    places = re.findall(r"^  I_\w+ AT %IX(\d+)\.(\d) : BOOL;$", example, flags=re.M)
    lamps = re.findall(r"^  (Q_\w+) AT %QX", example, flags=re.M)
    shown = [f'printf("%ld ", (long) program.RAILWAY.{name.upper()}.value);' for name in outputs]
    shown += [f'printf("%ld ", (long) *program.{name.upper()}.value);' for name in lamps]
    main = MAIN.replace("INPUTS", ", ".join(f"&value__IX{a}_{b}" for a, b in places))
    (folder / "main.c").write_text(main.replace("OUTPUTS", "\n    ".join(shown)))
    subprocess.run(
        ["gcc", "-w", "-O1", "-I", FOLDER / "lib" / "C", "-I", folder, "-o", folder / "block",
         folder / "main.c"],
        check=True,
    )  # fmt: skip
    return folder / "block"


def run(
    program: Path, example: str, cycles: Iterable[Cycle], numbers: Mapping[int, str]
) -> Iterator[list[int]]:
    """For each cycle, all that is put out. numbers: the names of inputs."""
    order = re.findall(r"^  I_(\w+) AT %IX", example.upper(), flags=re.M)
    place = {number: order.index(name) for number, name in numbers.items()}
    lines = [
        " ".join(map(str, (c.now, int(c.cut), len(c.on), *(place[n] for n in c.on))))
        for c in cycles
    ]
    done = subprocess.run(
        [program], input="\n".join(lines), capture_output=True, text=True, check=True
    )
    yield from ([int(word) for word in line.split()] for line in done.stdout.splitlines())
