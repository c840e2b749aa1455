"""Tables of arms: the fast way, and every fault with its line and value."""

import os
import re
import subprocess
import sys
from pathlib import Path
from threading import Thread

import numpy as np
import pytest

from analysis.readers.arms import read_arms
from analysis.readers.faults import Refused

HEADER = "study,rider,product,cda_m2,se_m2\n"
GOOD = "s1,r1,A,0.30,0.002\ns1,r1,B,-0.29,0.003\n"


def written(folder, text):
    path = folder / "arms.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


@pytest.mark.parametrize(
    "text",
    [
        HEADER + GOOD,
        "\N{BYTE ORDER MARK}" + HEADER + GOOD,
        HEADER + GOOD.replace("\n", "\r\n"),
        'note,se_m2,cda_m2,product,rider,study\n"x, y",.002,.30,A,r1,s1\n\n,3e-3,-0.29,B,r1,s1',
        (HEADER + GOOD).replace("0.30", "+0.30"),
        "\n\n" + HEADER + GOOD + "\n\n",
        "\n" + HEADER.replace(",", ", ") + GOOD,
        HEADER.replace("\n", ',"a\nnote",x,x\n') + GOOD.replace("\n", ",,,\n"),
    ],
    ids=[
        "plain",
        "byte order mark",
        "carriage returns",
        "another order and a column more",
        "a plus sign",
        "empty lines around",
        "an empty line and spaces in the header",
        "other columns twice",
    ],
)
def test_a_sound_table_is_read(tmp_path, text):
    arms = read_arms(written(tmp_path, text))
    assert [arms.products[code] for code in arms.product] == ["A", "B"]
    np.testing.assert_array_equal(arms.value_m2, [0.30, -0.29])
    np.testing.assert_array_equal(arms.se_m2, [0.002, 0.003])
    assert arms.study[0] == arms.study[1]


def test_arms_of_a_study_need_not_stand_together(tmp_path):
    arms = read_arms(written(tmp_path, HEADER + "s1,r,A,1,1\ns1,r,B,1,1\ns2,r,A,1,1\ns1,r,C,1,1\ns2,r,B,1,1\n"))
    assert len(set(arms.rider)) == 1
    first, second = arms.study[0], arms.study[2]
    assert list(arms.study) == [first, first, second, first, second]
    assert first != second


def test_a_table_may_come_through_a_pipe(tmp_path):
    """A pipe has no size to be asked for beforehand."""
    pipe, text = tmp_path / "arms", HEADER + "".join(f"s{k},r{k},{x},1,1\n" for k in range(9_000) for x in "AB")
    os.mkfifo(pipe)
    writer = Thread(target=pipe.write_text, args=(text,))
    writer.start()
    arms = read_arms(pipe)
    writer.join()
    assert (arms.study.size, arms.products) == (18_000, ("A", "B"))


BAD = {
    "missing column": (HEADER.replace(",se_m2", "") + "s,r,A,1\n", "line 1, se_m2: found no such column"),
    "negative error": (HEADER + GOOD + "s2,r2,A,1,-0.1\n", "line 4, se_m2: found '-0.1'; allowed: more than 0"),
    "zero error": (HEADER + GOOD + "s2,r2,A,1,0\n", "line 4, se_m2: found '0'"),
    "not a number": (HEADER + "s2,r2,A,nan,1\n" + GOOD, "line 2, cda_m2: found 'nan'"),
    "words": (HEADER + GOOD + "s2,r2,A,fast,1\n", "line 4, cda_m2: found 'fast'"),
    "a decimal comma": (HEADER + GOOD + 's2,r2,A,"0,3",1\n', "line 4, cda_m2: found '0,3'"),
    "infinity": (HEADER + GOOD + "s2,r2,A,1,inf\n", "line 4, se_m2: found 'inf'"),
    "too large a number": (HEADER + GOOD + "s2,r2,A,1e999,1\n", "line 4, cda_m2: found '1e999'"),
    "empty cell": (HEADER + GOOD + "s2,r2,A,,1\n", "line 4, cda_m2: found ''"),
    "no name": (HEADER + GOOD + "s2,,A,1,1\n", "line 4, rider: found nothing"),
    "duplicate": (HEADER + GOOD + "s1,r1,A,1,1\n", "line 4, product: found 'A' again in study 's1', as in line 2"),
    "two riders": (HEADER + GOOD + "s1,r2,C,1,1\n", "line 4, rider: found 'r2' in study 's1' of rider 'r1'"),
    "short row": (HEADER + GOOD + "s2,r2\n", "line 4, line: found 2 cells"),
    "two such columns": (
        HEADER[:-1] + ",se_m2\n" + "s,r,A,1,1,2\ns,r,B,1,1,2\n",
        "line 1, se_m2: found two such columns",
    ),
    "a blank name": (HEADER + GOOD + "s2,r2,  ,1,1\n", "line 4, product: found nothing"),
    "too large a size": (
        HEADER + GOOD + "s2,r2,A,-1e31,1\n",
        "line 4, cda_m2: found '-1e31'; allowed: a size of at most",
    ),
    "too small an error": (HEADER + GOOD + "s2,r2,A,1,1e-200\n", "line 4, se_m2: found '1e-200'; allowed: a size of"),
    "a name over two lines": (HEADER + GOOD + 's2,r2,"A\nB",1,x\n', "line 4, se_m2: found 'x'"),
    "an endless cell": (HEADER + GOOD + f"s2,{'r' * 140_000},A,1,x\n", "line 4, line: found a longer cell"),
    "empty": ("", "file: found nothing in it"),
    "header only": (HEADER, "arms: found a header and no arm"),
    "no text": (b"\xff\xfe\x00", "line 1, text: found bytes that are no UTF-8"),
}


@pytest.mark.parametrize("fault", BAD)
def test_a_fault_is_told_with_line_and_value(tmp_path, fault):
    text, sentence = BAD[fault]
    with pytest.raises(Refused, match=re.escape(sentence)):
        read_arms(written(tmp_path, text))


def test_a_missing_file_is_a_sentence(tmp_path):
    with pytest.raises(Refused, match="No such file"):
        read_arms(tmp_path / "none.csv")


@pytest.mark.parametrize("arguments", [["--reference", "AA"], ["--reference", "A"]], ids=["unknown", "only product"])
def test_the_command_refuses_with_a_sentence_and_status_2(tmp_path, arguments):
    path = written(tmp_path, HEADER + "s1,r1,A,1,1\ns2,r2,A,2,1\n")
    command = [sys.executable, "-m", "analysis", "pool", str(path), *arguments]
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=Path(__file__).parents[3])
    assert (done.returncode, done.stdout) == (2, "")
    assert "'AA'; the nearest products are: A." in done.stderr or "'A' is the only product" in done.stderr
