"""Whoever looks into a picture that a stranger may have made does so in the decoder's process."""

import ast

from architecture.fault_tables import ROOT

LOOKS = {"imdecode", "imread", "open_heif", "read_heif"}  # and Image.open
IN_THE_DECODER = {"etchphoto/decoder/opening.py", "etchphoto/decoder/decoding.py"}
OUR_OWN_PICTURES = {
    "etchphoto/expected.py",
    "etchphoto/layout/bench.py",
    "etchwarden/practice_session/output_files.py",
    "etchweb/previews/store.py",
}


def looks_into_a_picture(call):
    name = ast.unparse(call.func)
    return name == "Image.open" or name.rpartition(".")[2] in LOOKS


def modules_that_look():
    for room in ("daemon", "web"):
        for path in sorted((ROOT / room).rglob("*.py")):
            text = path.read_text()
            if not any(name in text for name in ("Image.open", *LOOKS)):
                continue
            calls = (node for node in ast.walk(ast.parse(text)))
            if any(isinstance(one, ast.Call) and looks_into_a_picture(one) for one in calls):
                yield str(path.relative_to(ROOT / room))


def importers_of(module):
    for room in ("daemon", "web"):
        for path in sorted((ROOT / room).rglob("*.py")):
            if f"from {module} import" in path.read_text():
                yield str(path.relative_to(ROOT / room))


def test_pictures_are_looked_into_by_the_decoder_and_by_who_made_them():
    assert set(modules_that_look()) == IN_THE_DECODER | OUR_OWN_PICTURES


def test_what_decodes_is_reached_through_the_decoders_process():
    """The others take a decoded picture's type, or the sentence about a file's kind."""
    decoding = set(importers_of("etchphoto.decoder.decoding"))

    assert decoding == {
        "etchphoto/decoder/loading.py",
        "etchphoto/resampling.py",
        "etchphoto/small_copy.py",
        "etchproof/reading/photograph.py",
    }
    assert set(importers_of("etchphoto.decoder.opening")) == {
        "etchphoto/decoder/process.py",
        "etchphoto/decoder/loading.py",
    }
