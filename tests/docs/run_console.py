#!/usr/bin/env python3
"""Run every `console` block of a page of docs, one after the other in one empty folder, and hold the output against what the page says.

    run_console.py PROGRAM SOURCE-FOLDER PAGE.md...       UPDATE=1 writes what came out into the page

In a block a line after "$ " is a command; what follows, up to the next one, is what it prints (both streams). A line "..." stands
for any number of lines, "..." within a line for any text. A command that prints nothing on the page may print anything.
It must end with status 0, or with the one in a comment "# status N" at its end. The clock stands at SM_NOW, the locale is C.
"""
import os
import re
import subprocess
import sys
import tempfile


def blocks(lines):
    """Start and end (without the fences) of each console block."""
    start = None
    for i, line in enumerate(lines):
        if start is None and line.strip() == "```console":
            start = i + 1
        elif start is not None and line.strip() == "```":
            yield start, i
            start = None
    assert start is None, "a console block without end"


def pattern(expected):
    """The expected lines as one regular expression over the whole output."""
    parts = ["(?:.*\n)*?" if line == "..." else re.escape(line).replace(r"\.\.\.", ".*") + "\n" for line in expected]
    return re.compile("".join(parts) + r"\Z")


def commands(lines):
    """(command, expected lines) of a block."""
    found = []
    for line in lines:
        if line.startswith("$ "):
            found.append((line[2:], []))
        else:
            assert found, "a block that does not start with a command: " + line
            found[-1][1].append(line)
    return found


def run(command, folder, environment):
    done = subprocess.run(["bash", "-c", command], cwd=folder, env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
                          stdin=subprocess.DEVNULL, timeout=300, check=False)
    return done.returncode, done.stdout.decode("utf-8")


def run_page(page, program, source):
    """Number of commands run and of those that failed."""
    with open(page, encoding="utf-8") as file:
        lines = file.read().split("\n")
    n_run = n_failed = 0
    with tempfile.TemporaryDirectory() as folder:
        os.mkdir(folder + "/bin")
        os.mkdir(folder + "/w")
        os.symlink(os.path.abspath(program), folder + "/bin/stopmark")
        environment = {"PATH": folder + "/bin:" + os.environ["PATH"], "HOME": folder, "TZ": "UTC", "LC_ALL": "C", "USER": "anna",
                       "SM_NOW": "2031-04-02T08:00:00Z", "SOURCE": os.path.abspath(source)}
        environment.update({k: v for k, v in os.environ.items() if k in ("SM_DECODER", "ASAN_OPTIONS")})
        written = list(lines)
        shift = 0
        for start, end in blocks(lines):
            said = []
            for command, expected in commands(lines[start:end]):
                status, output = run(command, folder + "/w", environment)
                wanted = re.search(r"# status (\d+)\s*$", command)
                n_run += 1
                is_good = status == int(wanted.group(1) if wanted else 0) and (not expected or pattern(expected).match(output))
                if not is_good:
                    n_failed += 1
                    print(f"{page}:{start + 1}: $ {command}\nstatus {status}, the page says:\n" + "\n".join(expected) + "\nit printed:\n" + output)
                keeps = is_good or not expected
                said += ["$ " + command] + (expected if keeps else output.rstrip("\n").split("\n"))
            written[start + shift:end + shift] = said
            shift += len(said) - (end - start)
    if os.environ.get("UPDATE") and n_failed:
        with open(page, "w", encoding="utf-8") as file:
            file.write("\n".join(written))
    return n_run, n_failed


def main():
    program, source, pages = sys.argv[1], sys.argv[2], sys.argv[3:]
    total = failed = 0
    for page in pages:
        n_run, n_failed = run_page(page, program, source)
        total += n_run
        failed += n_failed
    print(f"{total} commands of {len(pages)} pages run, {failed} differ")
    sys.exit(1 if failed or total == 0 else 0)


main()
