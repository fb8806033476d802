import pandas as pd

from necrostats.definitions.age import age_band


def test_bands_hold_their_lower_edge():
    bands = age_band(pd.Series([39, 40, 59, 60, 75, 90, None], dtype="Int64"))
    assert bands.tolist()[:6] == ["under 40", "40–59", "40–59", "60–74", "75 and over", "75 and over"]
    assert bands.isna().tolist()[6]
