from __future__ import annotations

import pytest

from necrostats.registry.privacy.folding import fold
from necrostats.registry.privacy.scripts import may_name_in_other_script


@pytest.mark.parametrize(
    "text", ["王小明", "田中花子様", "山田先生 performed",
             "김민수 환자", "محمد العلي", "दीपा वर्मा", "דוד לוי", "สมชาย ใจดี"]
)
def test_a_short_text_or_a_title_in_a_script_without_capitals_may_name_somebody(text: str) -> None:
    assert may_name_in_other_script(fold(text))


@pytest.mark.parametrize(
    "text", ["出血", "없음", "نزيف", "אין", "ไม่มี", "無",
             "solid", "Нет", "本日は出血なく順調に経過しています"]
)
def test_the_commonest_findings_and_sentences_name_nobody(text: str) -> None:
    assert not may_name_in_other_script(fold(text))
