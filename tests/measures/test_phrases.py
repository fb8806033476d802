from necrostats.measures.phrases import counted


def test_one_is_singular_and_everything_else_plural():
    assert counted(1, "patient was", "patients were") == "1 patient was"
    assert counted(0, "patient was", "patients were") == "0 patients were"
    assert counted(2000, "patient was", "patients were") == "2,000 patients were"
