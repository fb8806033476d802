from collections import Counter

from necrostats.definitions.reporting_items import PROCESS_ITEMS, REPORTING_ITEMS, STROBE_ITEMS


def test_strobe_has_its_twenty_two_items_in_order_and_no_number_twice():
    numbers = [item.number for item in STROBE_ITEMS]
    assert max(Counter(numbers).values()) == 1
    assert list(dict.fromkeys(number.rstrip("abcde") for number in numbers)) == [str(n) for n in range(1, 23)]


def test_every_item_names_its_checklist_its_topic_and_what_it_asks_for():
    assert {item.checklist.split(",")[0] for item in STROBE_ITEMS} == {"STROBE"}
    assert {item.checklist.split(",")[0] for item in PROCESS_ITEMS} == {"PROCESS 2023"}
    assert all(item.topic and item.asks for item in REPORTING_ITEMS)
    assert max(Counter((item.checklist, item.topic) for item in REPORTING_ITEMS).values()) == 1
