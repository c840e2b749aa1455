"""What a refusal says and survives: readable, printable, whole after crossing a process border."""

import pickle

from analysis.readers.faults import Fault, Refused, shown


def test_a_fault_names_file_line_key_found_and_allowed():
    fault = Fault("run-01.csv", "power_w", shown("fast"), "a number", line=17)
    assert fault.sentence() == "run-01.csv, line 17, power_w: found 'fast'; allowed: a number."
    assert Fault("session.json", "runs[2].setup", "'C'", "'A'").sentence().startswith("session.json, runs[2].setup: ")


def test_a_refusal_says_one_sentence_a_line():
    faults = (Fault("a", "b", "c", "d"), Fault("e", "f", "g", "h"))
    assert str(Refused(faults)).splitlines() == [fault.sentence() for fault in faults]


def test_a_refusal_crosses_a_process_border_whole():
    refusal = Refused([Fault("a", "b", "c", "d", 3)])
    assert pickle.loads(pickle.dumps(refusal)).faults == refusal.faults


def test_hostile_names_are_made_printable():
    fault = Fault("\x1b[31mred\ud800.csv", "key\n", shown("\0"), "text")
    assert fault.sentence().isprintable()
    assert fault.sentence().encode()


def test_long_values_are_cut():
    assert len(shown("x" * 1000)) < 100


def test_numbers_are_shown_apart_from_texts():
    assert [shown(value) for value in (82, "82", True, [None])] == ["82", "'82'", "true", "[null]"]
