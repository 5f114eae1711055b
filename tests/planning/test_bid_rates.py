"""The rate card, the lean of past bids, and the proof on the crew's own past."""

import json

import numpy as np
import pandas as pd
import pytest

from pourstats.faults import Refusal
from pourstats.learning.hours import hours_frame
from pourstats.planning.bid_record import bias_of, bids_with_pours
from pourstats.planning.proof import hours_proof
from pourstats.planning.rates import card_frame, rate_card
from pourstats.reporting.bid import bias_text, proof_text, rates_text
from pourstats.reporting.tables import text
from tests.planning.test_bid import HOUSE, bids, record


def test_bias_by_hand():
    """Bid 10, 20, 30; took 12, 22, 38: 72/60 - 1 = 20 % short.

    By hand after Cochran (1977): residuals 0, -2, 2; s.e. sqrt(3/2 x 8) / 60 = 0.05774; t(2) 4.3027.
    """
    found = bias_of("garage", pd.Series([10.0, 20, 30]), pd.Series([12.0, 22, 38]))
    assert found.short == pytest.approx(0.20)
    assert found.low == pytest.approx(0.20 - 4.302653 * 0.0577350, abs=1e-6)
    assert found.high == pytest.approx(0.20 + 4.302653 * 0.0577350, abs=1e-6)
    assert not found.clear
    assert bias_of("x", pd.Series([10.0, 20]), pd.Series([12.0, 22])).low is None


def test_last_bid_before_the_pour_same_scope_and_won():
    frames = record(6)
    table = bids(frames)
    table["scope"] = [
        None,
        "place;finish;saw",
        "saw; place;finish",
        "place;finish;saw;cure",
        None,
        None,
    ]
    table["won"] = ["yes", None, "yes", "yes", "no", "yes"]
    later = table.iloc[[0]].assign(bid_date=frames["pours"]["date"][0], bid_hours=99.0)
    after = table.iloc[[1]].assign(bid_date=frames["pours"]["date"][1] + pd.Timedelta(days=1))
    frames["bids"] = pd.concat([table, later, after.assign(bid_hours=1.0)], ignore_index=True)
    met = bids_with_pours(frames, hours_frame(frames)).set_index("pour_id")
    assert sorted(met.index) == ["P0", "P1", "P2", "P3", "P5"]
    assert met["bid_hours"]["P0"] == 99.0
    assert met["bid_hours"]["P1"] != 1.0
    assert met["same_scope"].to_dict() == {
        "P0": True,
        "P1": True,
        "P2": True,
        "P3": False,
        "P5": True,
    }


def test_card_tells_the_lean():
    """Bids at 80 % of what it took run 25 % short, whatever the pour."""
    frames = record(40)
    frames["bids"] = bids(frames)
    card = rate_card(frames, HOUSE)
    lean = card["bias"][0]
    assert (lean["group"], lean["pours"]) == ("garage", 40)
    assert lean["short_share"] == pytest.approx(0.25, abs=1e-4)
    assert bias_text({**lean, "short_share": 0.18, "low": 0.09, "high": 0.27, "pours": 14}) == (
        "Your garage bids run 18 % short (14 pours; 9 to 27 %): add that to the hours."
    )
    rate = card["rates"][0]
    assert rate["pours"] == 40
    hours = list(rate["hours_per_100ft2"].values())
    assert hours == sorted(hours)
    # The rule behind the record: 5 h + 1 h for 60 ft2; 8 % for 40 pours that scatter by 10 %.
    truth = (5.0 + rate["area_ft2"] / 60.0) / rate["area_ft2"] * 100.0
    assert hours[0] == pytest.approx(truth, rel=0.08)
    assert rate["hours_per_yd3"]["0.5"] == pytest.approx(hours[0] * 3.24 / 4.0, abs=2e-3)
    assert rate["bid"]["took_hours_per_100ft2"] * 0.8 == pytest.approx(
        rate["bid"]["hours_per_100ft2"], abs=2e-3
    )
    json.dumps(card, allow_nan=False)
    assert "garage trowel chute" in rates_text(card)


def test_card_tells_the_change_since_last_month():
    frames = record(40)
    slower = frames["pour_output"]["date"] > frames["pour_output"]["date"].max() - pd.DateOffset(
        months=1
    )
    frames["pour_output"].loc[slower, "labor_h"] *= 1.4
    rate = rate_card(frames, HOUSE)["rates"][0]
    assert rate["pours_since"] == slower.sum()
    assert rate["change_hours_per_100ft2"] > 0.1


def test_card_as_a_table():
    frames = record(12)
    frames["bids"] = bids(frames)
    card = rate_card(frames, HOUSE)
    table = card_frame(card)
    assert table["c70_hours_per_100ft2"][0] == card["rates"][0]["hours_per_100ft2"]["0.7"]
    assert table["bids"][0] == 12
    metric = text(table, "rates", "csv", "metric").splitlines()
    assert "c70_hours_per_100m2" in metric[0]
    blank = text(card_frame(rate_card(record(12), HOUSE)), "rates", "csv", "metric")
    assert "bid_hours_per_100m2" in blank


def test_no_pours_no_card():
    for call in (rate_card, hours_proof):
        with pytest.raises(Refusal) as caught:
            call(None, HOUSE)
        assert caught.value.status == 1


def test_the_week_shows_dollars_billed_a_paid_hour(ledger, run):
    """Two floors billed 2,000 and 1,000 USD, 16 and 8 labor-hours and an hour of road: a ratio of
    sums, 3000 / 25 = 120. A third that isn't billed yet counts neither way.
    """
    pours = [
        {"pour_id": pour, "date": day, "site": "Oak", "slab_type": "garage", "area": 600,
         "thickness": 4, "place_start": "7:00", "place_end": "9:00"}
        for pour, day in (("A1", "2031-06-03"), ("A2", "2031-06-04"), ("A3", "2031-06-05"))
    ]  # fmt: skip
    time = [
        {"pour_id": pour, "worker": worker, "task": task, "start": start, "end": end}
        for pour, worker, task, start, end in (
            ("A1", "JB", "place", "7:00", "15:00"), ("A1", "RB", "place", "7:00", "15:00"),
            ("A1", "RB", "travel", "6:00", "7:00"), ("A2", "JB", "place", "7:00", "15:00"),
            ("A3", "JB", "place", "7:00", "17:00"),
        )
    ]  # fmt: skip
    bids = [
        {"pour_id": pour, "bid_date": "2031-05-01", "bid_hours": 20, "billed": billed}
        for pour, billed in (("A1", 2000), ("A2", 1000), ("A3", ""))
    ]
    ledger.load({"pours": pours, "crew_time": time, "bids": bids})
    shown = json.loads(run("week", "--ending", "2031-06-08", "--json").out)
    figure = shown["figures"]["billed_usd_per_paid_h"]
    assert figure["value"] == pytest.approx(120.0)
    assert figure["pours_known"] == 2


# The proof.


def test_proof_knows_only_what_was_known():
    """What came later changes nothing of what was told before it."""
    frames = record(30)
    frames["bids"] = bids(frames)
    first = {row["pour_id"]: row for row in hours_proof(frames, HOUSE)["rows"]}
    changed = {**frames, "pour_output": frames["pour_output"].copy()}
    changed["pour_output"].loc[20:, "labor_h"] *= 3.0
    second = {row["pour_id"]: row for row in hours_proof(changed, HOUSE)["rows"]}
    # The bid of pour k is dated ten days before it, five pours back: k <= 24 knew at most pour 19.
    for k in range(8, 25):
        for name in ("tool", "p10", "p90", "flat_rate", "last_similar"):
            assert first[f"P{k}"][name] == second[f"P{k}"][name]
        assert first[f"P{k}"]["known"] <= k - 5
    assert first["P29"]["tool"] != second["P29"]["tool"]


def test_proof_counts_by_hand():
    frames = record(30)
    frames["bids"] = bids(frames)
    proof = hours_proof(frames, HOUSE)
    rows = pd.DataFrame(proof["rows"])
    made = proof["methods"]["bid_made"]
    told = rows[rows["bid_made"].notna()]
    assert made["pours"] == len(told)
    assert made["mean_abs_error_h"] == pytest.approx(
        (told["took"] - told["bid_made"]).abs().mean(), abs=1e-3
    )
    assert made["bias_share"] == pytest.approx(-0.2, abs=1e-3)
    # All bids are 80 % of what it took: brought to one margin they are never short.
    assert made["short_h_at_equal_margin"] == pytest.approx(0.0, abs=0.05)
    assert made["short_h"] == pytest.approx(0.2 * told["took"].sum(), rel=1e-2)
    inside = ((rows["took"] >= rows["p10"]) & (rows["took"] <= rows["p90"])).mean()
    assert proof["coverage"]["80"]["value"] == pytest.approx(inside, abs=1e-3)
    json.dumps(proof, allow_nan=False)


def test_proof_is_honest_where_it_is_unflattering():
    """A foreman who bids what it then takes can't be beaten, and the tool says so."""
    frames = record(40)
    frames["bids"] = bids(frames, factor=1.0)
    proof = hours_proof(frames, HOUSE)
    assert proof["methods"]["bid_made"]["tool_better_by_h"]["high"] < 0
    assert "the tool was farther off" in proof_text(proof)


def test_proof_beats_a_wild_guess():
    frames = record(40)
    rng = np.random.default_rng(5)
    frames["bids"] = bids(frames, factor=np.exp(rng.normal(0, 0.5, 40)))
    proof = hours_proof(frames, HOUSE)
    assert proof["methods"]["bid_made"]["tool_better_by_h"]["low"] > 0
    assert "the tool was closer" in proof_text(proof)


def test_part_of_a_headcount_is_too_rough_to_score_by():
    frames = record(30)
    frames["bids"] = bids(frames)
    output = frames["pour_output"]
    output.loc[output.index % 3 == 0, "hours_from"] = "headcount_part"
    output.loc[output.index % 3 == 0, "labor_h"] *= 1.5
    proof = hours_proof(frames, HOUSE)
    assert proof["too_rough"] > 0
    assert proof["methods"]["bid_made"]["bias_share"] == pytest.approx(-0.2, abs=1e-3)
    assert rate_card(frames, HOUSE)["bias"][0]["pours"] == 20
    assert "too rough to score by" in proof_text(proof)


def test_what_only_the_day_told_is_not_known_at_the_bid():
    """Slump, weather and who stayed to finish move no forecast of their own pour."""
    frames = record(14)
    frames["bids"] = bids(frames)
    told = hours_proof(frames, HOUSE)["rows"][-1]
    frames["pours"] = frames["pours"].assign(slump=5.0)
    frames["pours"].loc[13, ["finish_hands", "slump"]] = [4.0, 8.0]
    proof = hours_proof(frames, HOUSE)
    changed = proof["rows"][-1]
    assert (changed["pour_id"], changed["tool"]) == ("P13", told["tool"])
    assert "who stayed to finish" in " ".join(proof_text(proof).split())


def test_rough_hours_are_mended_by_earlier_pours_only():
    """The short log's headcounts lean on who usually stays; later pours say nothing of it then."""
    frames = record(18)
    frames["bids"] = bids(frames)
    start = frames["pours"]["date"] + pd.Timedelta(hours=7)
    frames["pours"] = frames["pours"].assign(
        place_start=start, place_end=start + pd.Timedelta(hours=2),
        crew_in=start - pd.Timedelta(hours=1), crew_out=start + pd.Timedelta(hours=8),
    )  # fmt: skip
    early = frames["pours"].index < 8
    frames["pours"].loc[early, "finish_hands"] = np.nan
    frames["pour_output"].loc[early, "hours_from"] = "headcount_part"
    told = {row["pour_id"]: row for row in hours_proof(frames, HOUSE)["rows"]}
    frames["pours"].loc[12:, "finish_hands"] = 4.0
    changed = {row["pour_id"]: row for row in hours_proof(frames, HOUSE)["rows"]}
    assert all(changed[f"P{k}"]["tool"] == told[f"P{k}"]["tool"] for k in range(9, 17))


def test_the_lean_reads_headcounts_as_crew_time():
    """Bids of what the crew truly takes, logged by a headcount that reads 15 % high on half of the
    pours: there is no lean, and the card says how it read them.
    """
    frames = record(40)
    frames["bids"] = bids(frames, factor=1.0)
    output = frames["pour_output"]
    output.loc[output.index % 2 == 0, "hours_from"] = "headcount"
    output.loc[output.index % 2 == 0, "labor_h"] *= 1.15
    card = rate_card(frames, HOUSE)
    every = card["bias"][-1]
    assert abs(every["short_share"]) < 0.03
    assert not every["clear"]
    assert card["rates"][0]["bid"]["took_hours_per_100ft2"] == pytest.approx(
        card["rates"][0]["bid"]["hours_per_100ft2"], rel=0.03
    )
    assert "20 of these pours are a head count" in " ".join(rates_text(card).split())
    # By headcount alone the record can't tell, and so it doesn't claim to.
    output["hours_from"] = "headcount"
    alone = rate_card(frames, HOUSE)
    assert alone["bias"][-1]["high"] - alone["bias"][-1]["low"] > 0.3
    assert "log each person's hours" in " ".join(rates_text(alone).split())


def test_a_shared_error_of_reading_is_added_in_full():
    """No scatter at all, every reading unsure by 0.1: 20 % short, give or take 1.96 x 0.1 x 1.2."""
    told = np.array([10.0, 20.0, 30.0])
    found = bias_of("garage", told, told * 1.2, np.full(3, 0.1))
    assert (found.low, found.high) == pytest.approx((0.2 - 0.2352, 0.2 + 0.2352), abs=1e-4)


def test_all_pours_on_one_day_are_no_proof():
    frames = record(5)
    for name in ("pours", "pour_output"):
        frames[name]["date"] = pd.Timestamp("2031-05-05")
    with pytest.raises(Refusal, match="earlier"):
        hours_proof(frames, HOUSE)
