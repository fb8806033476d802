from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from builders.notebooks import code, saved
from builders.written import text_in
from necrostats import __version__, bundled, cli
from necrostats.report import reporting

HEAVY = ("pandas", "numpy", "matplotlib", "nbformat", "papermill", "nbconvert")


def command(*arguments, **options):
    """One command in a process of its own: its exit code and what it printed."""
    return subprocess.run(
        [sys.executable, "-m", "necrostats.cli", *map(str, arguments)], capture_output=True, text=True, **options
    )


@pytest.fixture
def said(capsys):
    """Run a command in this process; returns its exit code, what it printed and what it complained of."""

    def run(*arguments):
        try:
            code = cli.main([str(argument) for argument in arguments])
        except SystemExit as stop:
            code = stop.code
        printed = capsys.readouterr()
        return code, printed.out, printed.err

    return run


def only_line(text):
    (line,) = text.splitlines()
    return line


def test_help_and_every_refusal_come_before_anything_heavy_is_imported():
    script = f"""
import sys
from pathlib import Path
from necrostats import cli
for arguments in (["--help"], ["report", "--help"], ["report"], ["chek"], []):
    try:
        cli.main(arguments)
    except SystemExit:
        pass
print([name for name in {HEAVY} if name in sys.modules])"""
    ran = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert ran.stdout.splitlines()[-1] == "[]"


def test_help_lists_the_commands_there_are(said):
    code, out, _ = said("--help")
    assert code == 0
    for name in (
        "check",
        "tidy",
        "lock",
        "report",
        "start",
        "draft-layout",
        "completion",
        "--version",
        "not for decisions about one",
    ):
        assert name in " ".join(out.split())


def test_version_is_that_of_the_package(said):
    assert said("--version") == (0, f"necrostats {__version__}\n", "")


@pytest.mark.parametrize(
    ("arguments", "wrong"),
    [
        (["chek"], "invalid choice: 'chek'"),
        (["report", "quarterly_review"], "required: SOURCE, --out"),
        (["report", "x", "y", "--out", "z", "--param", "level"], '"level" is not of the form NAME=VALUE'),
        (["report", "x", "y", "--out", "z", "--timeout", "0"], '"0" is not a whole number of seconds'),
        (["check"], "required: SOURCE"),
        (["check", "x", "--deep"], "unrecognized arguments: --deep"),
    ],
)
def test_misuse_is_one_line_and_exit_code_2(said, arguments, wrong):
    code, out, err = said(*arguments)
    assert (code, out) == (2, "")
    assert only_line(err).startswith("necrostats: ")
    assert wrong in err


def test_no_command_at_all_shows_the_help(said):
    code, _, err = said()
    assert code == 2
    assert "check" in err


def test_checking_a_sound_registry_prints_what_was_found_and_exits_0(said):
    code, out, err = said("check", bundled.synthetic_registry() / "tidy")
    assert (code, err) == (0, "")
    assert "tidy can be used" in out


def test_findings_that_stop_exit_1_and_all_of_them_are_shown_when_asked(said, tmp_path):
    source = bundled.synthetic_registry() / "tidy"
    for path in source.glob("*.csv"):
        text = path.read_text(encoding="utf-8")
        if path.name == "sessions.csv":
            head, *rows = text.splitlines()
            place = head.split(",").index("passes")
            cells = [row.split(",") for row in rows]
            text = "\n".join([head, *(",".join([*row[:place], "-1", *row[place + 1 :]]) for row in cells)])
        (tmp_path / path.name).write_text(text, encoding="utf-8")
    code, short, err = said("check", tmp_path)
    assert (code, err) == (1, "")
    assert "can be used in part" in short
    _, whole, _ = said("check", tmp_path, "--all")
    assert whole.count('"-1"') > short.count('"-1"') > 0


@pytest.mark.parametrize("request_", [["check", "gone"], ["report", "quarterly_review", "gone", "--out", "out"]])
def test_a_source_that_is_not_there_is_one_line_and_exit_code_2(said, request_, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, out, err = said(*request_)
    assert (code, out) == (2, "")
    assert only_line(err).startswith("necrostats: ")
    assert "gone" in err
    assert list(tmp_path.iterdir()) == []


def test_an_unknown_template_is_answered_with_the_nearest(said, tmp_path):
    code, _, err = said("report", "quaterly_review", tmp_path, "--out", tmp_path / "out")
    assert code == 2
    assert 'Did you mean "quarterly_review"?' in only_line(err)


def test_an_unknown_parameter_is_an_error_and_nothing_is_run(said, tmp_path):
    code, _, err = said("report", "quarterly_review", tmp_path, "--out", tmp_path / "out", "--param", "levle=0.9")
    assert code == 2
    assert 'Did you mean "level"?' in only_line(err)
    assert not (tmp_path / "out").exists()


def test_a_report_says_each_stage_on_stderr_and_a_failing_cell_in_one_line(said, tmp_path):
    template = saved(tmp_path, code('raise ValueError("no such column")'))
    exit_code, out, err = said("report", template, tmp_path, "--out", tmp_path / "out")
    assert (exit_code, out) == (1, "")
    running, failed = err.splitlines()
    assert running == f"necrostats: running tiny on {tmp_path.name}"
    assert failed.endswith("failed with ValueError: no such column.")


def test_verbose_shows_the_traceback_wherever_it_stands(said, tmp_path):
    for arguments in (["--verbose", "check", tmp_path / "gone"], ["check", tmp_path / "gone", "--verbose"]):
        code, _, err = said(*arguments)
        assert code == 2
        assert "Traceback" in err
        assert err.splitlines()[-1].startswith("necrostats: ")


def test_an_error_nobody_foresaw_is_one_line_without_a_traceback(said, monkeypatch, tmp_path):
    def fails(*arguments, **options):
        raise RuntimeError("odd")

    monkeypatch.setattr(reporting, "write_report", fails)
    code, _, err = said("report", "quarterly_review", tmp_path, "--out", tmp_path)
    assert code == 1
    assert "RuntimeError: odd" in only_line(err)


def test_an_interrupt_is_exit_code_130(said, monkeypatch, tmp_path):
    def interrupted(*arguments, **options):
        raise KeyboardInterrupt

    monkeypatch.setattr(reporting, "write_report", interrupted)
    assert said("report", "quarterly_review", tmp_path, "--out", tmp_path) == (130, "", "necrostats: stopped.\n")


def test_start_prints_what_it_made_and_replaces_nothing(said, tmp_path):
    code, out, err = said("start", tmp_path / "new")
    assert (code, err) == (0, "")
    made = (path for path in (tmp_path / "new").rglob("*") if path.is_file())
    assert sorted(out.splitlines()) == sorted(map(str, made))
    again, out, err = said("start", tmp_path / "new")
    assert (again, out) == (1, "")
    assert "nothing is replaced" in only_line(err)


@pytest.mark.skipif(os.name == "nt", reason="pipes end differently there")
def test_a_reader_that_goes_away_is_no_error():
    reader, writer = os.pipe()
    os.close(reader)
    with os.fdopen(writer, "w") as gone:
        arguments = [sys.executable, "-m", "necrostats.cli", "check", str(bundled.synthetic_registry() / "tidy")]
        ran = subprocess.run(arguments, stdout=gone, stderr=subprocess.PIPE, text=True)
    assert (ran.returncode, ran.stderr) == (141, "")


def test_text_that_the_terminal_cannot_show_does_not_stop_a_command(tmp_path):
    environment = {**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"}
    ran = command("check", tmp_path / "année", env=environment)
    assert ran.returncode == 2
    assert r"ann\xe9e" in only_line(ran.stderr)


EXPORT = bundled.synthetic_registry() / "export"


def test_an_export_is_tidied_by_its_layout_and_every_cell_is_counted(said, tmp_path):
    code, out, err = said("tidy", EXPORT / "unit_export.xlsx", "--layout", EXPORT / "layout.toml", "--to", tmp_path)
    assert code == 1, err
    assert {"patients.csv", "ledger.csv", "set_aside.csv", "findings.csv"} <= {path.name for path in tmp_path.iterdir()}
    counted = re.search(r"cells ([0-9,]+) = ([^\n]+)", out)
    parts = [int(each.replace(",", "")) for each in re.findall(r"[0-9][0-9,]*", counted[2])]
    assert sum(parts) == int(counted[1].replace(",", ""))


def test_an_export_is_checked_by_its_layout(said):
    code, out, _ = said("check", EXPORT / "unit_export.xlsx", "--layout", EXPORT / "layout.toml")
    assert code == 1
    assert "can be used in part" in out


def test_the_screen_shows_dates_as_written_and_what_is_tidied_holds_none(said, tmp_path):
    arguments = (EXPORT / "unit_export.xlsx", "--layout", EXPORT / "layout.toml", "--all")
    _, out, _ = said("check", *arguments)
    dates = re.compile(r"\b[0-9]{1,2}[./-][0-9]{1,2}[./-](?:20)?[0-9]{2}\b|\b20[0-9]{2}-[0-9]{2}-[0-9]{2}\b")
    assert len(dates.findall(out)) > 5
    assert "value withheld" not in out
    _, tidied, _ = said("tidy", *arguments, "--to", tmp_path / "out")
    assert len(dates.findall(tidied)) > 5
    assert "value withheld" not in tidied
    for path in (tmp_path / "out").iterdir():
        assert not dates.findall(text_in(path)), path.name


def test_a_layout_is_proposed_with_its_guesses_marked(said):
    code, out, _ = said("draft-layout", EXPORT / "unit_export.xlsx")
    assert code == 0
    assert "# a guess" in out


def test_a_layout_that_is_not_there_is_one_line(said):
    code, out, err = said("check", EXPORT / "unit_export.xlsx", "--layout", "nowhere.toml")
    assert (code, out) == (2, "")
    assert "nowhere.toml" in err


def test_the_first_line_says_how_much_was_read_and_findings_can_be_filtered(tmp_path, capsys):
    export = Path(__file__).parent.parent / "synthetic_registry" / "export"
    for command in ("tidy", "check"):
        folder = tmp_path / command
        request = [
            command,
            str(export / "unit_export.xlsx"),
            "--layout",
            str(export / "layout.toml"),
            "--to",
            str(folder),
        ]
        assert cli.main(request) == 1
        first = capsys.readouterr().out.splitlines()[0]
        assert re.fullmatch(r"[0-9.]+ % of the mapped cells read; [0-9]+ rows set aside for [0-9]+ reasons\.", first)
        assert (folder / "findings.xlsx").read_bytes()[:2] == b"PK"
    assert cli.main(["check", str(tmp_path / "tidy")]) in (0, 1)
    assert "findings.xlsx" not in capsys.readouterr().out


@pytest.mark.skipif(os.name == "nt", reason="terminals are made differently there")
@pytest.mark.slow
def test_stopped_by_the_keyboard_in_the_middle_nothing_is_left_and_no_traceback_is_shown(tmp_path):
    template = saved(tmp_path, code("import time"), code("time.sleep(60)"))
    arguments = ["report", template, tmp_path, "--out", tmp_path / "out"]
    environment = {**os.environ, "TMPDIR": str(tmp_path / "t"), "NO_COLOR": "1", "COLUMNS": "120"}
    (tmp_path / "t").mkdir()
    exit_code, shown = watched(arguments, environment, until="2 of 3 cells")
    assert exit_code == 130
    assert "Traceback" not in shown and shown.rstrip().endswith("necrostats: stopped.")
    assert list((tmp_path / "out").iterdir()) == [] and list((tmp_path / "t").glob("necrostats-*")) == []


@pytest.mark.skipif(os.name == "nt", reason="terminals are made differently there")
@pytest.mark.slow
def test_somebody_who_watches_sees_which_cell_of_how_many_is_run(tmp_path):
    template = saved(tmp_path, code("1"), code("2"))
    arguments = ["report", template, tmp_path, "--out", tmp_path / "out"]
    exit_code, shown = watched(arguments, {**os.environ, "NO_COLOR": "1", "COLUMNS": "160"})
    assert exit_code == 0
    assert "0 of 3 cells" in shown and "3 of 3 cells" in shown and "\x1b" not in shown


def watched(arguments, environment, until=""):
    """A command in a terminal of its own, interrupted when it shows `until`: exit code, and all that was shown."""
    import pty

    process, terminal = pty.fork()
    if not process:
        os.execve(sys.executable, [sys.executable, "-m", "necrostats", *map(str, arguments)], environment)
    shown, stopped = b"", False
    while True:
        try:
            more = os.read(terminal, 65536)
        except OSError:
            break
        if not more:
            break
        shown += more
        if until and not stopped and until.encode() in shown:
            os.write(terminal, b"\x03")
            stopped = True
    os.close(terminal)
    return os.waitstatus_to_exitcode(os.waitpid(process, 0)[1]), shown.decode()


def test_lock_says_what_it_froze_and_refuses_to_replace_it(said, tmp_path):
    source = Path(__file__).parents[1] / "synthetic_registry" / "tidy"
    code, out, err = said("lock", source, "--to", tmp_path / "lock")
    assert (code, err.splitlines()) == (0, ["necrostats: reading", "necrostats: writing"])
    first, second = out.splitlines()
    assert first == f"Locked in {tmp_path / 'lock'}: 142 patients, 561 sessions, 2023Q1 to 2026Q3."
    assert re.fullmatch(r"sha256 [0-9a-f]{64}", second)
    code, out, err = said("lock", source, "--to", tmp_path / "lock")
    assert (code, out) == (1, "") and "a lock is never replaced" in only_line(err)


def test_lock_needs_a_folder_and_a_source_that_can_be_read(said, tmp_path):
    assert said("lock", tmp_path)[0] == 2
    code, _, err = said("lock", tmp_path / "nowhere", "--to", tmp_path / "lock")
    assert code == 2 and "nowhere" in err.splitlines()[-1] and not (tmp_path / "lock").exists()
