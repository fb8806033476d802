from __future__ import annotations

from necrostats import bundled


def test_the_notebooks_and_the_invented_registry_are_found():
    assert (bundled.notebooks() / "quarterly_review.ipynb").is_file()
    assert (bundled.synthetic_registry() / "tidy" / "patients.csv").is_file()


def test_in_an_installed_package_what_lies_inside_it_comes_first(tmp_path, monkeypatch):
    package = tmp_path / "necrostats"
    (tmp_path / "notebooks").mkdir()
    monkeypatch.setattr(bundled, "_PACKAGE", package)
    assert bundled.notebooks() == tmp_path / "notebooks"
    (package / "notebooks").mkdir(parents=True)
    assert bundled.notebooks() == package / "notebooks"
