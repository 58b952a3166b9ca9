"""The command line: every command, every exit code, and nothing that a file can do to the terminal."""

from __future__ import annotations

import csv
import io
import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner, Result

from scarfdate import __version__, cli, date_scarf, load_priors
from scarfdate.cli import table
from scarfdate.reading.files import read_table
from scarfdate.tables.priors import shipped_folder

ROOT = Path(__file__).resolve().parent.parent
STOCK = str(ROOT / "data" / "stock.csv")
BAD_ROWS = "id,fibre,width_cm\nA1,silk,90\nA2,slik,\nA3,wool,-4\nA1,cotton,\n"


def run(*arguments: str, given: str | bytes | None = None) -> Result:
    result = CliRunner().invoke(cli.cli, list(arguments), input=given)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    assert "Traceback" not in result.output
    return result


def outside(*arguments: str, encoding: str = "utf-8", **more) -> subprocess.CompletedProcess[bytes]:
    environment = {**os.environ, "PYTHONIOENCODING": encoding, "PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-m", "scarfdate.cli", *arguments]
    return subprocess.run(command, env=environment, capture_output=True, check=False, **more)


@pytest.mark.parametrize("command", [(), *((name,) for name in cli.cli.commands)])
def test_help_fits_a_screen(command):
    result = run(*command, "--help")
    lines = result.output.splitlines()
    assert result.exit_code == 0
    assert len(lines) <= 34
    assert max(map(len, lines)) <= 80


def test_version():
    assert run("--version").output.split()[-1] == __version__


def test_the_demo_stock():
    result = run("date", STOCK)
    assert result.exit_code == 0, result.stderr
    lines = result.stdout.splitlines()
    ids = [line.split()[0] for line in lines if line.startswith("V0")]
    assert ids == read_table(STOCK)["id"].tolist()
    assert len(ids) == 60
    assert max(map(len, lines)) <= 80
    assert "60 pieces: 60 dated, 0 not read" in " ".join(lines)
    assert result.stderr == ""


def test_the_table_says_what_the_library_says():
    from scarfdate import date_table
    from scarfdate.answer.date import COLUMNS
    from scarfdate.show.sentence import percent

    frame = read_table(STOCK)
    answers = date_table(frame, columns=[*COLUMNS, "not_before", "vintage_probability"])
    lines = [line for line in run("date", STOCK).stdout.splitlines() if line.startswith("V0")]
    for line, (_, row) in zip(lines, answers.iterrows(), strict=True):
        assert str(row["year_to"]) in line
        assert f" {row['decade']} " in line
        assert f" {percent(row['decade_probability'])} " in line
        assert line.rstrip(" ?").endswith(percent(row["vintage_probability"]))
        assert pd.isna(row["not_before"]) or f" {row['not_before']} " in line
        assert line.rstrip().endswith("?") == pd.notna(row["warnings"])


def test_sentences_stand_under_their_rows():
    lines = run("date", STOCK, "--sentences").stdout.splitlines()
    at = next(place for place, line in enumerate(lines) if line.startswith("V012"))
    sentence = date_scarf(dict(_row("V012"))).sentence
    assert sentence.startswith(lines[at + 1].strip())
    assert max(map(len, lines)) <= 80


def _row(wanted: str) -> dict[str, object]:
    frame = read_table(STOCK)
    row = frame[frame["id"] == wanted].iloc[0]
    return {name: cell for name, cell in row.items() if cell}


def test_bad_rows_are_told_and_the_good_ones_dated(tmp_path):
    out = tmp_path / "out.csv"
    result = run("date", "-", "--strict", "--out", str(out), given=BAD_ROWS)
    assert result.exit_code == 1
    told = result.stderr.splitlines()
    assert [line.partition(":")[0] for line in told] == [
        "line 3 (A2)",
        "line 4 (A3)",
    ]
    assert "'silk'" in told[0]
    assert "width_cm" in told[1]
    assert "4 pieces: 2 dated, 2 not read" in result.stdout
    assert [line.split()[-1] for line in result.stdout.splitlines() if line.startswith("A")][
        1:
    ] == ["!", "!", "?"]
    back = read_table(out)
    assert back["year_from"].ne("").tolist() == [True, False, False, True]
    assert back["errors"].ne("").tolist() == [False, True, True, False]
    assert "earlier row" in back["warnings"].iloc[3]


def test_a_cell_costs_a_cell(tmp_path):
    out = tmp_path / "out.csv"
    sheet = "No.,Material,Size,paid\nA1,silk?,30 x 30,2\nA2,slik,,3\nA3,wool,-4,4\nA1,cotton,,5\n"
    result = run("date", "-", "--unit", "in", "--out", str(out), given=sheet)
    assert result.exit_code == 1
    told = result.stderr.splitlines()
    assert [line.partition(":")[0] for line in told] == ["line 3 (A2)", "line 4 (A3)"]
    assert "left out: fibre: no word 'slik' is known; did you mean 'silk'?" in told[0]
    assert "left out: size: " in told[1]
    assert "4 pieces: 4 dated, 0 not read" in result.stdout
    assert "Columns not used: paid." in result.stdout
    back = read_table(out)
    assert back["year_from"].ne("").all()
    assert back["paid"].tolist() == ["2", "3", "4", "5"]
    assert back["not_read"].ne("").tolist() == [False, True, True, False]
    assert "earlier row" in back["warnings"].iloc[3]
    without = run("date", "-", given=sheet)
    assert "which one? --unit cm or --unit in" in without.stderr


def test_the_prompt_reads_words_as_a_table_does():
    plain = run("show", "fibre=silk", "hem=hand-rolled", "size=90 x 90 cm").stdout
    assert run("show", "material=soie", "edge=hr", "size=90 cm sq").stdout == plain
    assert run("show", "fibre=maybe silk").exit_code == 0
    twice = run("show", "fibre=silk", "material=wool")
    assert twice.exit_code == 2
    assert "fibre=silk or rayon" in twice.stderr


@pytest.mark.parametrize("quiet", [True, False])
def test_quiet_prints_the_counts_alone(quiet):
    lines = run("date", STOCK, *(["--quiet"] if quiet else [])).stdout.splitlines()
    assert (len(lines) <= 2) == quiet


def test_options_reach_the_model():
    plain = run("date", STOCK).stdout
    for more in (["--level", "0.5"], ["--channel", "auction"], ["--as-of", "1990"]):
        changed = run("date", STOCK, *more)
        assert changed.exit_code in (0, 1)
        assert changed.stdout != plain
    result = run("show", "fibre=silk", "--as-of", "1990", "--channel", "auction")
    assert "Channel auction, as of 1990" in " ".join(result.output.split())


@pytest.mark.parametrize("ending", ["csv", "json", "parquet"])
def test_out_files_are_read_back(tmp_path, ending):
    if ending == "parquet":
        pytest.importorskip("pyarrow")
    out = tmp_path / f"out.{ending}"
    assert run("date", STOCK, "--quiet", "--out", str(out)).exit_code == 0
    back = pd.read_parquet(out) if ending == "parquet" else read_table(out)
    assert back["id"].tolist() == read_table(STOCK)["id"].tolist()
    assert (back["year_from"].astype(int) <= back["year_to"].astype(int)).all()
    assert back["decade_probability"].astype(float).between(0, 1).all()


def test_out_files_are_safe_against_formulas(tmp_path):
    out = tmp_path / "out.csv"
    given = 'id,fibre,note\n=cmd(),silk,"=HYPERLINK(""x"")"\n+1,silk,@sum\n'
    assert run("date", "-", "--out", str(out), given=given).exit_code == 0
    with out.open(newline="") as stream:
        cells = [cell for row in csv.reader(stream) for cell in row]
    assert "'=cmd()" in cells
    assert not [cell for cell in cells if cell.startswith(("=", "+", "-", "@"))]


def test_a_place_that_cannot_be_written(tmp_path):
    for out in (tmp_path / "none" / "a.csv", tmp_path / "a.ods", tmp_path):
        result = run("date", STOCK, "--out", str(out))
        assert result.exit_code == 2
        assert result.stdout == ""
        assert result.stderr.startswith("Error: ")
    assert list(tmp_path.iterdir()) == []


def test_a_full_disk_leaves_the_old_file(tmp_path, monkeypatch):
    out = tmp_path / "a.csv"
    out.write_text("old")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    result = run("date", STOCK, "--out", str(out), "--force")
    assert result.exit_code == 2
    assert "No space left" in result.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["a.csv"]
    assert out.read_text() == "old"


def test_standard_input_of_each_kind():
    rows = [{"id": "J1", "fibre": "silk"}]
    for given in (json.dumps(rows), "id;fibre\nJ1;silk\n"):
        result = run("date", "-", given=given)
        assert result.exit_code == 0
        assert "J1" in result.stdout
    book = io.BytesIO()
    pd.DataFrame(rows).to_excel(book, index=False)
    assert "J1" in run("date", "-", given=book.getvalue()).stdout


@pytest.mark.parametrize(
    "arguments",
    [
        ("date",),
        ("date", "nothing-here.csv"),
        ("date", str(ROOT)),
        ("date", STOCK, "--channel", "thirft"),
        ("date", STOCK, "--level", "2"),
        ("date", STOCK, "--level", "nan"),
        ("date", STOCK, "--as-of", "soon"),
        ("date", STOCK, "--as-of", "1"),
        ("date", STOCK, "--priors", "nothing-here"),
        ("date", "-"),
        ("show",),
        ("show", "fibre=slik"),
        ("show", "fibr=silk"),
        ("show", "priors=silk"),
        ("show", "self=silk"),
        ("show", "fibre=silk", "hem"),
        ("show", "fibre=silk", "fibre=wool"),
        ("show", "fibre=silk", "--id", "V012"),
        ("show", STOCK),
        ("show", STOCK, "--id", "V999"),
        ("check-priors",),
        ("check-priors", "nothing-here"),
        ("guess",),
    ],
)
def test_wrong_usage_is_one_message_and_exit_2(arguments):
    result = run(*arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert "Error: " in result.stderr or "Usage: " in result.stderr
    assert len(result.stderr.splitlines()) <= 24


def test_errors_name_the_nearest_words():
    assert "'silk'" in run("show", "fibre=slik").stderr
    assert "'fibre'" in run("show", "fibr=silk").stderr
    assert "'thrift'" in run("date", STOCK, "--channel", "thirft").stderr


def test_show_a_row_of_a_file():
    result = run("show", STOCK, "--id", "V012")
    assert result.exit_code == 0
    assert result.output.strip() == str(date_scarf(dict(_row("V012")))).strip()
    assert "█" in result.output


def test_show_clues():
    result = run(
        "show", "fibre=silk", "hem=hand-rolled", "width_cm=90", 'weave={"twill": 0.7, "plain": 0.3}'
    )
    assert result.exit_code == 0
    seen = {
        "fibre": "silk",
        "hem": "hand-rolled",
        "width_cm": 90,
        "weave": {"twill": 0.7, "plain": 0.3},
    }
    assert result.output.strip() == str(date_scarf(seen)).strip()


def test_label_says_marks_bounds_and_years():
    result = run("label", "--market", "us", "100% POLYESTER", "MADE IN HONG KONG", "RN 60000")
    assert result.exit_code == 0
    lines = result.output.splitlines()
    assert lines[0] == "intact label: not before 1970 by its number"
    assert max(map(len, lines)) < 80
    text = " ".join(result.output.split())
    assert "given about 1979" in text
    assert "numbers stay in use for decades" in text
    scarf = {"label_text": "100% POLYESTER\nMADE IN HONG KONG\nRN 60000"}
    american = load_priors().offered_in("us", "thrift")
    assert f"By the label alone: {date_scarf(scarf, priors=american).sentence}" in text
    told = run("label", "--market", "canada", "ACETATE RAYON").output
    assert (
        told.split("By the label alone")[1]
        != run("label", "ACETATE RAYON").output.split("By the label alone")[1]
    )
    assert "Not before 1970: a registration number 60000 was given about 1979" in text
    assert "Do not sell on it alone." in text


def test_label_reads_standard_input_and_a_cut_one():
    result = run("label", "-", given="...DE IN JAP\n")
    assert result.exit_code == 0
    assert result.output.startswith("cut label or fragment: ")
    assert "an origin: japan (cut off)" in result.output
    wrong = run("label", "--market", "mars", "ALL SILK")
    assert wrong.exit_code == 2
    assert "no market 'mars' is known" in wrong.output + wrong.stderr


def test_show_free_words():
    done = run("show", "silk square, hand rolled, 90 x 90 cm")
    plain = run("show", "fibre=silk", "form=square", "hem=hand-rolled", "size=90 x 90 cm")
    assert done.stdout == plain.stdout
    assert "fibre silk, form square, hem hand-rolled, size 90 x 90 cm" in " ".join(
        done.stderr.split()
    )
    assert run("show", "a file that is not there.csv").exit_code == 2
    assert "nothing of a clue" in run("show", "a lovely present").stderr


def test_show_refuses_an_id_that_stands_twice():
    result = run("show", "-", "--id", "A1", given=BAD_ROWS)
    assert result.exit_code == 2
    assert "line 2, 5" in result.stderr


def test_a_stream_of_rows_without_end_is_given_up(monkeypatch):
    monkeypatch.setattr("scarfdate.reading.files.LONGEST_STREAM", 10_000)
    result = run("date", "-", given="id,fibre\n" * 2000)
    assert result.exit_code == 2 and "longer than 10000 bytes; split the file" in result.stderr


def test_of_very_many_faults_of_a_file_a_thousand_are_told(tmp_path):
    header = (shipped_folder() / "slips.csv").read_text("utf-8").splitlines()[0]
    blank = "," * header.count(",")
    (tmp_path / "slips.csv").write_text("\n".join([header, *[f"x{blank}"] * 5000]), "utf-8")
    bad = run("check-priors", str(tmp_path))
    lines = bad.output.splitlines()
    assert bad.exit_code == 1
    assert 990 < sum(line.startswith("slips.csv, row") for line in lines) <= 1000
    assert len(lines) <= 1002
    assert (
        lines[0]
        == "slips.csv: more faults than the 1000 that are told of one file; mend these first"
    )


@pytest.mark.parametrize(
    ("file", "row", "column", "cell", "says"),
    [
        ("families.csv", "momme", "low", "9999", "usual_low: must not be below low of its row (9999)"),
        ("families.csv", "momme", "usual_low", "9999", "usual_high: must not be below usual_low of its row (9999)"),
        ("families.csv", "momme", "high", "3", "high: must not be below usual_high of its row"),
        ("families.csv", "momme", "worth", "1e308", "worth: must lie between 0 and 1e+09"),
        ("worth/deciding.csv", "asked_at_most", "value", "1e308", "value: must lie between 0 and 1000"),
        ("allowances.csv", "vintage_age", "value", "1e308", "value: must lie between 0 and 10000"),
    ],
)  # fmt: skip
def test_numbers_that_no_table_can_mean_are_faults(tmp_path, file, row, column, cell, says):
    """They passed, and ended as a traceback or as "nan" where they were used."""
    rows = [*csv.DictReader((shipped_folder() / file).open(encoding="utf-8"))]
    (meant,) = [one for one in rows if row in [*one.values()][:2]]
    meant[column] = cell
    (tmp_path / file).parent.mkdir(exist_ok=True)
    with (tmp_path / file).open("w", encoding="utf-8", newline="") as stream:
        written = csv.DictWriter(stream, [*rows[0]])
        written.writeheader()
        written.writerows(rows)
    bad = run("check-priors", str(tmp_path))
    assert bad.exit_code == 1 and says in bad.output, bad.output


def test_check_priors(tmp_path):
    good = run("check-priors", str(shipped_folder()))
    assert good.exit_code == 0
    assert "no fault" in good.output
    assert load_priors().hash[:12] in good.output
    slips = (shipped_folder() / "slips.csv").read_text("utf-8")
    (tmp_path / "slips.csv").write_text(
        slips.replace("fibre,1.5", "fibre,much").replace("hem,", "hme,", 1), "utf-8"
    )
    bad = run("check-priors", str(tmp_path))
    assert bad.exit_code == 1
    assert "slips.csv, row 2, column rate: not a number" in bad.output
    assert "'hme'" in bad.output
    assert bad.output.strip().splitlines()[-1].endswith("faults")
    assert run("date", STOCK, "--priors", str(tmp_path)).exit_code == 2
    for arguments in (("check-priors",), ("date", STOCK, "--priors")):
        result = run(*arguments, str(tmp_path / "slips.csv"))
        assert result.exit_code == 2
        assert "this is a file; name the folder that it lies in" in result.stderr


HOSTILE = 'id,fibre,note\n[red]x[/red],silk,a\n"\x1b[31mE\x07",silk,b\n[/],"\x1b]0;t\x07[bold]",c\n\u202eabc,silk,\U0001f9e3\n'


@pytest.mark.parametrize("more", [[], ["--sentences"]])
def test_text_of_a_file_is_never_markup_nor_control(more):
    result = run("date", "-", *more, given=HOSTILE)
    assert result.exit_code == 1
    assert "[red]x[/red]" in result.stdout
    assert "[bold]" in result.stderr
    for letter in ("\x1b", "\x07", "\u202e", "\r"):
        assert letter not in result.output


def test_paths_and_words_of_a_person_are_cleaned_in_errors():
    for arguments in (("date", "no\x1b[31m.csv"), ("show", "fibre=\x1b[31m"), ("show", "a\x1bb=c")):
        result = run(*arguments)
        assert result.exit_code == 2
        assert "\x1b" not in result.output


@pytest.mark.slow
@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "utf-8"])
def test_every_terminal_can_show_it(encoding, tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("id,fibre\ncrêpe-Ω-🧣,silk\nb,zûrgê\n", "utf-8")
    shown = outside("show", "fibre=silk", "hem=hand-rolled", encoding=encoding)
    assert shown.returncode == 0, shown.stderr
    assert ("█" if encoding == "utf-8" else "####") in shown.stdout.decode(encoding)
    dated = outside("date", str(path), "--sentences", encoding=encoding)
    assert dated.returncode == 1, dated.stderr
    assert b"Traceback" not in dated.stderr
    assert outside("--help", encoding=encoding).returncode == 0


@pytest.mark.slow
def test_no_bar_where_no_terminal_is():
    rows = "id,fibre\n" + "".join(f"{number},silk\n" for number in range(20_050))
    result = outside("date", "-", "--quiet", input=rows.encode())
    assert result.returncode == 0
    assert result.stderr == b""


def test_in_chunks_it_is_the_same_and_repeated_ids_are_still_found(monkeypatch):
    class Terminal(io.StringIO):
        def isatty(self):
            return True

    rows = 45
    frame = pd.DataFrame(
        {
            "id": [str(number % 40) for number in range(rows)],
            "fibre": ["silk", "wool", "slik", "rayon", ""] * 9,
            "width_cm": ["90", "", "-4"] * 15,
        },
        dtype=object,
    )
    whole = table.dated(frame, load_priors(), "thrift", 0.8, 2026)
    bar = Terminal()
    monkeypatch.setattr(table, "_LONG", 20)
    monkeypatch.setattr(table, "_CHUNK", 10)
    monkeypatch.setattr(sys, "stderr", bar)
    parts = table.dated(frame, load_priors(), "thrift", 0.8, 2026)
    monkeypatch.undo()
    assert "45" in bar.getvalue()
    assert whole["warnings"].str.contains("earlier row").sum() == 5
    pd.testing.assert_frame_equal(parts, whole, check_dtype=False)


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="a device that is always full, and signals")
class TestStandardStreams:
    """Output that cannot be written, input that is not there, a reader that leaves, Ctrl-C."""

    @pytest.mark.parametrize(
        "command",
        [("show", "fibre=silk"), ("date", STOCK), ("label", "SILK"), ("--help",), ("--version",),
         ("date", "--help")],
    )  # fmt: skip
    def test_a_full_disk_is_said(self, command):
        program = [sys.executable, "-m", "scarfdate.cli", *command]
        environment = {**os.environ, "PYTHONPATH": str(ROOT)}
        with open("/dev/full", "w") as full:
            ended = subprocess.run(
                program, stdout=full, stderr=subprocess.PIPE, env=environment, check=False
            )
        assert ended.returncode == 2
        assert ended.stderr.decode().startswith("Error: the output cannot be written")
        assert len(ended.stderr.splitlines()) == 1

    @pytest.mark.parametrize(
        ("command", "says"),
        [(("dry-run", "-"), b"longer than 268435456 bytes"), (("practice",), b"a bet has at most 10000")],
    )  # fmt: skip
    def test_input_without_end_is_refused(self, command, says):
        with open("/dev/zero", "rb") as zero:
            ended = outside(*command, stdin=zero)
        assert ended.returncode == 2
        assert says in ended.stderr and len(ended.stderr.splitlines()) == 1

    @pytest.mark.parametrize("command", [("date", "-"), ("show", "-"), ("label", "-")])
    def test_no_standard_input(self, command):
        ended = outside(*command, preexec_fn=lambda: os.close(0))
        assert ended.returncode == 2
        assert ended.stderr.startswith(b"Error: -: there is no standard input")
        assert len(ended.stderr.splitlines()) == 1

    @pytest.mark.parametrize("command", [("show", "fibre=silk"), ("date", STOCK)])
    def test_a_reader_that_leaves_hears_nothing_more(self, command):
        """As behind ``| head -1``: the reading end of the pipe is closed before anything is written."""
        reading, writing = os.pipe()
        os.close(reading)
        program = [sys.executable, "-m", "scarfdate.cli", *command]
        environment = {**os.environ, "PYTHONPATH": str(ROOT)}
        ended = subprocess.run(
            program, stdout=writing, stderr=subprocess.PIPE, env=environment, check=False
        )
        os.close(writing)
        assert (ended.returncode, ended.stderr) == (141, b"")

    def test_ctrl_c(self):
        """While it waits for a table on standard input."""
        program = [sys.executable, "-X", "importtime", "-m", "scarfdate.cli", "date", "-"]
        environment = {**os.environ, "PYTHONPATH": str(ROOT)}
        process = subprocess.Popen(
            program, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
            env=environment,
            # what runs in the background has the signal ignored, and hands that down
            preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
        )  # fmt: skip
        # it reads once the tables are loaded; the last module to load before is that of the writer
        for line in process.stderr:
            if line.rstrip().endswith(b"scarfdate.reading.written"):
                break
        process.send_signal(signal.SIGINT)
        output, errors = process.communicate(timeout=60)
        assert process.returncode == 130
        assert output == b"" and b"Traceback" not in errors


def test_the_level_is_named_and_a_percentage_is_understood():
    assert "How sure the years are to be" in " ".join(run("date", "--help").output.split())
    counts = " ".join(run("date", STOCK, "--quiet").stdout.split())
    assert "with a chance of 80%" in counts
    refused = run("show", "fibre=silk", "--level", "80")
    assert refused.exit_code == 2
    assert "got 80; write 0.8 for 80 %" in refused.stderr
    assert "write 0.95 for 95 %" in run("show", "fibre=silk", "--level", "95").stderr


def test_rows_that_say_nothing_are_named_and_not_looked_at_again(tmp_path):
    """The heading of a box has the years of any scarf; a second look at it would narrow them most, and is none."""
    sheet = tmp_path / "boxes.csv"
    sheet.write_text("id,fibre,hem\nBOX 1,,\n7,silk,hand-rolled\n8,?,n/a\n")
    told = " ".join(run("date", str(sheet)).output.split())
    assert (
        "Nothing was noted in line 2 (BOX 1), line 4 (8): the years are those of any scarf" in told
    )
    assert "line 3 (7): " in told.partition("One more look pays most here")[2]
    assert "BOX 1" not in told.partition("One more look pays most here")[2]
