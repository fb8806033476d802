"""Names in scripts without capitals. No word of these scripts is on the lists but a few: a short text is suspected."""

from __future__ import annotations

import re

from necrostats.registry.privacy.folding import fold

_CASELESS = (
    "\u0590-\u05ff\u0600-\u06ff\u0900-\u0dff\u0e00-\u0e7f\u10d0-\u10ff\u1100-\u11ff\u3040-\u30ff\u3400-\u4dbf\u4e00-\u9fff"
)
_ANY = re.compile(f"[{_CASELESS}]")
_DIGIT = re.compile(r"\d")
_RUN = re.compile(f"[{_CASELESS}]+")
_IDEOGRAPH = re.compile("[\u3040-\u30ff\u3400-\u4dbf\u4e00-\u9fff]")
_MOST_WORDS = 3
_MOST_IDEOGRAPHS = 6
# None, yes, no, and the commonest findings, in the languages of these scripts.
_WORDS = """
无 無 有 是 否 出血 感染 穿孔 发热 發熱 疼痛 死亡 引流 良好 坏死 壊死 固体
液体 胆石 酒精 なし あり はい いいえ 発熱 腹痛
없음 있음 출혈 감염 천공 발열 통증 사망 لا نعم نزيف عدوى ثقب حمى ألم وفاة אין יש דימום זיהום חום כאב
नहीं हाँ रक्तस्राव संक्रमण बुखार दर्द ไม่มี มี เลือดออก ติดเชื้อ ไข้
"""
_TITLES = "환자 선생님 씨 السيد السيدة الدكتور الدكتورة גברת פרופ श्री श्रीमती डॉ นาย นาง คุณ"
_KNOWN = frozenset(map(fold, _WORDS.split()))
_HONORIFIC = re.compile(
    "[\u3040-\u30ff\u4e00-\u9fff]{1,6}(?:様|さん|氏|殿|先生|医師|医生|醫生|医师|女士|大夫|护士|護士)"
    rf"|{'|'.join(map(fold, _TITLES.split()))}"
    r"|ד\"ר|\bמר\b|\bמרת\b"
)


def may_name_in_other_script(text: str) -> bool:
    """Whether a folded text in a script without capitals is as short as a name, or holds a title of that language."""
    if not _ANY.search(text):
        return False
    if _HONORIFIC.search(text):
        return True
    words = [word for word in _RUN.findall(text) if word not in _KNOWN]
    letters = sum(each.isalpha() for each in text)
    if not words or _DIGIT.search(text) or sum(map(len, _RUN.findall(text))) < letters:
        return False
    ideographs = len(_IDEOGRAPH.findall(text))
    if ideographs:
        return 1 < ideographs <= _MOST_IDEOGRAPHS
    return len(words) <= _MOST_WORDS
