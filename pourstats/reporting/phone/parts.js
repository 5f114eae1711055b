// The parts of a pour: hands, loads, passes, people, the concrete and the sky, what it is.

// A number by one tap. The numbers stay where they are once one was tapped, so that a second touch
// hits nothing else.
function numbers(pour, id, values, done, asking, shown, choose) {
  return h("fieldset", { id },
    h("legend", {}, h("span", { class: "row" },
      done ? h("span", {}, h("b", {}, `✓ ${done.at.slice(11, 16)}`), ` ${shown}`)
        : h("span", {}, asking),
      done ? undoButton(pour, done) : h("span", {}))),
    h("div", { class: "chips numbers" }, values.map((value) => button(`${id}-${value}`,
      String(value), () => { if (!done) choose(value); },
      { class: done ? "rest" : "", "aria-disabled": done ? "true" : null }))));
}

function hands(pour) {
  const done = last(pour, "hands");
  return numbers(pour, "hands", Array.from({ length: 12 }, (_, i) => i + 1), done,
    text("log.how_many"), `${text("tap.hands")}: ${done ? done.subject : ""}`,
    (count) => tap(pour.pour_id, "hands", String(count)));
}

function ready(pour) {
  if (!last(pour, "machine_on")) return null;
  return numbers(pour, "ready", [10, 20, 30, 45, 60], last(pour, "was_ready"),
    text("log.ready_before"), text("tap.was_ready"),
    (minutes) => readyBefore(pour.pour_id, minutes));
}

function loads(pour) {
  const events = Object.keys(DATA.events.load);
  const now = current(pour, "load");
  const numbers = Object.keys(timesOf(pour, "load")).map(Number).slice().sort((a, b) => b - a);
  return section("loads", text("log.loads"),
    h("h2", { class: "sub" }, text("log.this_load", { number: now.number })),
    events.map((event) => tapRow(pour, event, now.label, now.times[event])),
    numbers.map((number) => loadFields(pour, number)),
    tapList(pour, of(pour, events).filter((each) => each.subject !== now.label)));
}

function loadFields(pour, number) {
  const name = label("load", number);
  const said = pour.loads[name] || {};
  const one = (column) => input(`${name}-${column}`, text(`phone.${column}`),
    DATA.loads[column], said[column] || "",
    (value) => describeMore(pour.pour_id, "loads", name, column, value));
  return h("fieldset", { class: "two" }, h("legend", {}, text("log.this_load", { number })),
    one("volume"), one("ticket"));
}

function passes(pour) {
  const events = ["pass_on", "pass_off"];
  const now = current(pour, "pass");
  const times = timesOf(pour, "pass");
  const begun = Object.keys(times).map(Number).filter((n) => times[n].pass_on).slice().sort(
    (a, b) => a - b).at(-1);
  const inches = (value, shown) => (view.units === "us" ? `${shown} in`
    : `${Math.round(number(value) * 25.4)} mm`);
  const prints = [["1/4", inches("1/4", "¼")], ["1/8", inches("1/8", "⅛")],
    ["1/16", text("log.scuff")]];
  return section("passes", text("log.passes"),
    h("h2", { class: "sub" }, text("log.this_pass", { number: now.number })),
    events.map((event) => tapRow(pour, event, now.label, now.times[event])),
    begun ? choices("footprint",
      `${labelOf("footprint", "passes")}, ${text("log.this_pass", { number: begun })}`, prints,
      (pour.passes[begun] || {}).footprint || "",
      (value) => describeMore(pour.pour_id, "passes", String(begun), "footprint", value)) : null,
    tapRow(pour, "saw_on", "", last(pour, "saw_on")),
    tapList(pour, of(pour, events).filter((each) => each.subject !== now.label)));
}

function people(pour) {
  const events = ["arrives", "to_finish", "leaves"];
  const taps = of(pour, events);
  const names = [...new Set([...DATA.people, ...taps.map((each) => each.subject)])];
  const who = view.who;
  return section("people", text("log.people"),
    names.length ? choices("who", text("log.who"), names.map((name) => [name, name]), who,
      (value) => { view.who = value; render(); }) : null,
    input("other", text("log.other"), { kind: "text" }, names.includes(who) ? "" : who,
      (value) => { view.who = value; render(); }, { maxlength: 40 }),
    h("div", { class: "chips" }, events.map((event) => button(`${event}-now`, tapName(event),
      () => tap(pour.pour_id, event, who), { disabled: !kept.works || !who }))),
    h("ul", { class: "taps" }, taps.slice().reverse().map((done) => h("li", { class: "row" },
      h("span", {}, h("b", {}, `✓ ${done.at.slice(11, 16)}`),
        ` ${done.subject}: ${tapName(done.event)}`), undoButton(pour, done)))));
}

function concrete(pour) {
  const field = DATA.fields.slump;
  const slumps = [["3", "stiff"], ["5", "medium"], ["7", "wet"]].map(([value, word]) => [value,
    `${text(`phone.${word}`)}, ${Math.round(value / unitOf(field)[1])} ${unitOf(field)[0]}`]);
  return section("concrete", text("log.concrete"),
    choices("about-slump", labelOf("slump"), slumps, told(pour, "slump"),
      (value) => describe(pour.pour_id, "slump", value)),
    input("slump-number", `${labelOf("slump")}, ${text("phone.slump_number")}`, field,
      told(pour, "slump"), (value) => describe(pour.pour_id, "slump", value)),
    wordChoices(pour, "exposure"), wordChoices(pour, "wind_felt"));
}

function about(pour) {
  return section("about", text("log.describe"),
    h("p", { class: "quiet" }, text("phone.minus")),
    aboutInput(pour, "date"), aboutInput(pour, "site", { list: "sites" }),
    wordChoices(pour, "slab_type"), aboutInput(pour, "area"), aboutInput(pour, "thickness"),
    aboutInput(pour, "ordered_volume"), aboutInput(pour, "finish_hands"),
    wordChoices(pour, "finish"), wordChoices(pour, "placement"), aboutInput(pour, "notes"));
}
