"""Log a pour: eight taps at the slab, everything else one tap away or tonight."""

import filling
import kept
import look
import streamlit as st
import tapping
import words
from words import say

from pourstats.faults import Refusal
from pourstats.logs.stamps import POUR_TIMES

# The taps of the short log, after the hands.
SHORT = (
    "first_concrete", "strike_off_done", "bull_float_done", "machine_on", "last_pass_off",
    "saw_done", "gone",
)  # fmt: skip
# How many jobs ahead stand on the page; the others are one tap away.
FIRST_JOBS = 6


def choose() -> None:
    """Which pour: one that is open, a planned one, or a new one."""
    look.answer(say("nav.log"), say("log.which"))
    for pour in tapping.open_pours():
        site = f" · {pour['site']}" if pour["site"] else ""
        st.button(
            look.plain(f"{say('log.go_on')} {pour['pour_id']}{site}"), type="primary",
            width="stretch", key=f"open-{pour['pour_id']}", on_click=tapping.go,
            args=(pour["pour_id"],),
        )  # fmt: skip
    jobs = tapping.planned()
    planned(jobs.ahead[:FIRST_JOBS])
    if len(jobs.ahead) > FIRST_JOBS:
        with st.expander(say("log.more_jobs", count=len(jobs.ahead) - FIRST_JOBS)):
            planned(jobs.ahead[FIRST_JOBS:])
    if jobs.gone:
        with st.expander(say("phone.earlier"), expanded=not jobs.ahead):
            planned(jobs.gone)
    with st.expander(say("log.new"), expanded=not (tapping.open_pours() or jobs.ahead)):
        begin()
    with st.expander(say("fill.after")):
        st.button(say("fill.new"), width="stretch", on_click=tapping.go, args=(None, True))
        listed = tapping.poured()
        if listed:
            chosen = st.selectbox(
                say("fill.old"), list(listed), index=None, placeholder="",
                format_func=lambda pour_id: f"{pour_id} · {listed[pour_id]}",
            )  # fmt: skip
            if chosen:
                st.button(say("fill.open", pour_id=look.plain(chosen)), width="stretch",
                          on_click=tapping.go, args=(chosen, True))  # fmt: skip


def planned(jobs: list[dict]) -> None:
    """A button a job, with its day."""
    for job in jobs:
        day = words.day(job["date"].date(), tapping.now().date())
        kind = words.word("slab_type", job["slab_type"])
        label = f"{job['pour_id']} · {job['site']} · {kind} · {day}"
        st.button(
            look.plain(label), width="stretch", key=f"job-{job['pour_id']}",
            on_click=tapping.go, args=(job["pour_id"],),
        )  # fmt: skip


def begin() -> None:
    """A pour that no plan knows."""
    fields = tapping.fields("pours")
    with st.form("new", border=False):
        pour_id = st.text_input(fields["pour_id"].label, max_chars=40)
        site = st.selectbox(
            fields["site"].label, tapping.sites(), index=None, accept_new_options=True,
            placeholder=say("log.site_hint"),
        )  # fmt: skip
        kind = st.pills(
            fields["slab_type"].label, fields["slab_type"].choices,
            format_func=lambda value: words.word("slab_type", value),
        )  # fmt: skip
        area = st.number_input(
            tapping.with_unit(fields["area"]), min_value=0.0, value=None, format="%.6g"
        )
        thick = st.number_input(
            tapping.with_unit(fields["thickness"]), min_value=0.0, value=None, format="%.6g"
        )
        st.caption(say("log.later"))
        if st.form_submit_button(say("log.start"), type="primary", width="stretch"):
            if not pour_id.strip():
                st.error(say("log.needs_name"))
                return
            about = {"site": site, "slab_type": kind, "area": area, "thickness": thick}
            try:
                tapping.begin(pour_id.strip(), about)
            except Refusal as error:
                st.error(look.plain(words.reason(str(error))))
                return
            st.rerun()


@st.fragment
def taps(pour_id: str) -> None:
    """The eight, then the rest."""
    now = tapping.state(pour_id)
    if now.elsewhere:
        st.info(say("fill.elsewhere"))
        return
    refused = st.session_state.pop("refused", None)
    if refused:
        st.error(look.plain(say("log.not_stored", why=words.reason(refused))))
    st.caption(look.plain(tapping.missing_text(now)))
    hands(pour_id, now)
    for event in SHORT:
        done = now.last(event)
        with st.container(horizontal=True, key=f"row-{event}", vertical_alignment="center"):
            if done is None:
                st.button(say(f"tap.{event}"), key=event, width="stretch", type="primary"
                          if event == now.next else "secondary",
                          on_click=tapping.tap, args=(pour_id, event))  # fmt: skip
            else:
                st.markdown(f"✓ **{done['at']:%H:%M}** {say(f'tap.{event}')}", width="stretch")
                undo(done, f"undo-{event}")
        if event == "machine_on" and done is not None:
            ready_before(pour_id, now, done)
    more(pour_id, now)


def undo(done: dict, key: str) -> None:
    """Take one tap back."""
    st.button(say("log.undo"), key=key, on_click=tapping.take_back, args=(done["stamp_id"],))


def hands(pour_id: str, now: "tapping.State") -> None:
    """How many came; stamps the arrival."""
    done = now.last("hands")
    if done is None:
        st.markdown(say("log.how_many"))
    with st.container(horizontal=True, key="row-hands", vertical_alignment="center"):
        if done is not None:
            count = look.plain(done["subject"])
            st.markdown(f"✓ **{done['at']:%H:%M}** {say('tap.hands')}: {count}", width="stretch")
            undo(done, "undo-hands")
            return
        # Four side by side on a phone.
        for count in range(1, 9):
            st.button(str(count), key=f"hands-{count}", width=76, on_click=tapping.tap,
                      args=(pour_id, "hands", str(count)))  # fmt: skip


def ready_before(pour_id: str, now: "tapping.State", on: dict) -> None:
    """It would have taken the machine before: how long ago, one tap."""
    done = now.last("was_ready")
    if done is None:
        st.markdown(say("log.ready_before"))
    with st.container(horizontal=True, key="row-ready", vertical_alignment="center"):
        if done is not None:
            st.markdown(f"✓ {say('tap.was_ready')} **{done['at']:%H:%M}**", width="stretch")
            undo(done, "undo-ready")
            return
        # All five side by side on a phone.
        for minutes in (10, 20, 30, 45, 60):
            st.button(f"{minutes}", key=f"ready-{minutes}", width=58,
                      on_click=tapping.ready_before, args=(pour_id, on["at"], minutes))  # fmt: skip


def more(pour_id: str, now: "tapping.State") -> None:
    """Loads, passes, people, the concrete and the sky: for whoever wants them."""
    with st.expander(say("log.loads")):
        numbered(pour_id, now, "load", ("load_in", "load_unloading", "load_empty", "load_off"))
    with st.expander(say("log.passes")):
        numbered(pour_id, now, "pass", ("pass_on", "pass_off"))
        if now.of(("pass_on", "machine_on")):
            metric = words.units() == "metric"
            prints = (("1/4", "6 mm" if metric else "¼ in"), ("1/8", "3 mm" if metric else "⅛ in"),
                      ("1/16", say("log.scuff")))  # fmt: skip
            buttons(pour_id, now, "footprint", prints)
    with st.expander(say("log.people")):
        people(pour_id, now)
    with st.expander(say("log.concrete")):
        buttons(pour_id, now, "slump", tuple(
            (inches, f"{say(f'log.{word}')}, {tapping.amount('slump', float(inches))}")
            for inches, word in (("3", "stiff"), ("5", "medium"), ("7", "wet"))
        ))  # fmt: skip
        st.number_input(
            tapping.with_unit(tapping.fields("pours")["slump"]), min_value=0.0, step=0.5,
            value=now.number("slump"), key=f"slump-{pour_id}-{words.units()}", format="%.4g",
            on_change=tapping.measured, args=(pour_id, "slump", f"slump-{pour_id}-{words.units()}"),
        )  # fmt: skip
        for name, choices in (("exposure", ("sun", "mixed", "shade", "indoors")),
                              ("wind_felt", ("calm", "breezy", "windy"))):  # fmt: skip
            buttons(pour_id, now, name, tuple((each, words.word(name, each)) for each in choices))
    with st.expander(
        say("log.describe"), expanded=bool(now.undescribed) and now.last("gone") is not None
    ):
        describe(pour_id, now)


def numbered(pour_id: str, now: "tapping.State", kind: str, events: tuple[str, ...]) -> None:
    """Loads or passes: the next tap of the one under way, then those that are done."""
    current = now.current(kind, events)
    st.caption(say(f"log.this_{kind}", number=current.number))
    with st.container(horizontal=True, key=f"now-{kind}"):
        for event in events:
            done = current.times.get(event)
            st.button(
                say(f"tap.{event}") + (f" ✓ {done['at']:%H:%M}" if done else ""), width=150,
                key=f"{event}-{current.number}", disabled=done is not None,
                on_click=tapping.tap, args=(pour_id, event, current.label),
            )  # fmt: skip
    for done in reversed(now.of(events)):
        with st.container(horizontal=True, vertical_alignment="center"):
            label = look.plain(done["subject"].partition(";")[0])
            what = say("tap." + done["event"])
            st.markdown(f"{done['at']:%H:%M} {what} {label}", width="stretch")
            undo(done, f"undo-{done['stamp_id']}")


def buttons(pour_id: str, now: "tapping.State", name: str, choices: tuple) -> None:
    """One of a few, by one tap; the one in force is marked."""
    field = "passes" if name == "footprint" else "pours"
    st.caption(tapping.fields(field)[name].label)
    with st.container(horizontal=True, key=f"choice-{name}"):
        for value, label in choices:
            mark = "✓ " if tapping.same(now.described(name), value) else ""
            # Two or three side by side on a phone.
            wide = 98 if name in ("footprint", "wind_felt") else 150
            st.button(mark + label, key=f"{name}-{value}", width=wide,
                      on_click=tapping.describe, args=(pour_id, name, value))  # fmt: skip


def people(pour_id: str, now: "tapping.State") -> None:
    """Who came, went to finish, left."""
    who = st.pills(say("log.who"), tapping.crew(), key="who", format_func=look.plain)
    other = st.text_input(say("log.other"), key="other", max_chars=20)
    name = (other or who or "").strip()
    with st.container(horizontal=True, key="now-people"):
        for event in ("arrives", "to_finish", "leaves"):
            st.button(say(f"tap.{event}"), key=event, width=150, disabled=not name,
                      on_click=tapping.tap, args=(pour_id, event, name))  # fmt: skip
    for done in reversed(now.of(("arrives", "to_finish", "leaves"))):
        with st.container(horizontal=True, vertical_alignment="center"):
            st.markdown(f"{done['at']:%H:%M} {look.plain(done['subject'])}: "
                        f"{say('tap.' + done['event'])}", width="stretch")  # fmt: skip
            undo(done, f"undo-{done['stamp_id']}")


def describe(pour_id: str, now: "tapping.State") -> None:
    """What the pour is; may wait until tonight."""
    fields = tapping.fields("pours")
    with st.form("describe", border=False):
        given: dict[str, object] = {}
        given["site"] = st.selectbox(
            fields["site"].label, tapping.sites(now.described("site")), accept_new_options=True,
            placeholder=say("log.site_hint"),
            index=tapping.place(tapping.sites(now.described("site")), now.described("site")),
        )  # fmt: skip
        for name in ("slab_type", "finish", "placement"):
            given[name] = st.pills(
                fields[name].label, fields[name].choices, default=now.described(name),
                format_func=lambda value, name=name: words.word(name, value),
            )  # fmt: skip
        for name in ("area", "thickness", "ordered_volume"):
            given[name] = st.number_input(
                tapping.with_unit(fields[name]),
                min_value=0.0,
                value=now.number(name),
                format="%.6g",
            )
        for name in ("finish_hands",):
            given[name] = st.number_input(
                fields[name].label,
                min_value=0,
                value=tapping.whole(now.number(name)),
                key=f"about-{pour_id}-{name}",
            )
        if st.form_submit_button(say("log.save"), width="stretch"):
            tapping.describe_all(pour_id, now, given)
            st.rerun()


def whole(pour_id: str) -> None:
    """The pour under way."""
    look.answer(say("nav.log"), tapping.title(pour_id))
    taps(pour_id)
    st.button(say("fill.rest"), on_click=tapping.go, args=(pour_id, True), width="stretch")
    st.button(say("log.other_pour"), on_click=tapping.go, args=(None,), width="stretch")
    st.caption(say("log.care"))


assert set(SHORT) | {"hands", "saw_on"} == set(POUR_TIMES)
kept.mark()
asked = st.query_params.get("pour")
if st.query_params.get("form"):
    filling.page(asked)
    if asked and not tapping.state(asked).elsewhere:
        st.button(say("fill.taps"), on_click=tapping.go, args=(asked,), width="stretch")
    st.button(say("log.other_pour"), on_click=tapping.go, args=(None,), width="stretch")
elif asked:
    whole(asked)
else:
    choose()
