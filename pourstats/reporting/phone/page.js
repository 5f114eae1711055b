// The page's words, acts and pieces. Text is shown as text.

const main = document.getElementById("main");
const live = document.getElementById("live");
const view = { alert: "", who: "", asked: false, opened: new Set(["new", "earlier"]), errors: {} };
const known = (name, allowed, fallback) =>
  (allowed.includes(kept.choice(name)) ? kept.choice(name) : fallback);
view.lang = known("lang", Object.keys(DATA.languages), DATA.lang);
view.units = known("units", ["us", "metric"], DATA.units);

function text(name, values = {}) {
  const words = DATA.languages[view.lang].text[name] ?? DATA.languages.en.text[name] ?? name;
  return words.replace(/\{(\w+)\}/g, (whole, key) => (key in values ? values[key] : whole));
}

function labelOf(column, table = "pours") {
  return DATA.languages[view.lang].labels[table][column];
}

function wordOf(group, value) {
  const name = `${group}.${value}`;
  const said = text(name);
  return said === name ? String(value).replaceAll("_", " ") : said;
}

function tapName(event) {
  return event === "saw_on" ? text("phone.saw_on") : text(`tap.${event}`);
}

// An element; attributes that begin with "on" are its handlers, children that are none are text.
function h(tag, attributes, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes || {})) {
    if (name.startsWith("on")) made[name] = value;
    else if (name === "value") made.value = value;
    else if (value === true) made.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) {
      made.setAttribute(name, value);
    }
  }
  made.append(...children.flat().filter((child) => child !== null && child !== false));
  return made;
}

const HANDLERS = ["onclick", "onchange", "onsubmit", "ontoggle", "onfocus", "oncopy"];

function alike(one, other) {
  return one.nodeName === other.nodeName && (one.id || "") === (other.id || "");
}

// Makes an element like another without replacing it: a finger that is just coming down, or a
// field that is just being left, must not lose what is under it.
function become(old, wanted) {
  if (old.nodeType === Node.TEXT_NODE) {
    if (old.data !== wanted.data) old.data = wanted.data;
    return;
  }
  for (const { name } of [...old.attributes]) {
    if (!wanted.hasAttribute(name)) old.removeAttribute(name);
  }
  for (const { name, value } of wanted.attributes) {
    if (old.getAttribute(name) !== value) old.setAttribute(name, value);
  }
  for (const name of HANDLERS) old[name] = wanted[name];
  if ("value" in wanted && old !== document.activeElement && old.value !== wanted.value) {
    old.value = wanted.value;
  }
  fill(old, [...wanted.childNodes]);
}

function fill(place, wanted) {
  let next = place.firstChild;
  for (const child of wanted) {
    const found = next && alike(next, child) ? next
      : child.id ? [...place.children].find((each) => alike(each, child)) : null;
    if (found) {
      if (found === next) next = next.nextSibling;
      else place.insertBefore(found, next);
      become(found, child);
    } else {
      place.insertBefore(child, next);
    }
  }
  while (next) {
    const after = next.nextSibling;
    next.remove();
    next = after;
  }
}

// Acts ------------------------------------------------------------------------------------------

// One change of a pour: read anew, changed, stored, and only then told and shown.
function act(pourId, change) {
  const now = new Date();
  const pour = kept.pour(pourId) || fresh(pourId, now);
  const said = change(pour, now);
  view.alert = "";
  if (said) {
    pour.rev += 1;
    if (kept.put(pour)) live.textContent = said;
    else view.alert = text(kept.works ? "phone.full" : "phone.refused");
  }
  render();
  return Boolean(said) && !view.alert;
}

function tap(pourId, event, subject = "") {
  act(pourId, (pour, now) => {
    const made = stamp(pour, event, subject, now);
    return made && text("phone.stored", { what: tapName(event), time: made.at.slice(11, 16) });
  });
}

const UNDO_AGAIN_MS = 600;

function takeBack(pourId, id) {
  // Under a finger that comes down twice the next line's button may have moved up by then.
  if (Math.abs(Date.now() - (view.tookBack || 0)) < UNDO_AGAIN_MS) return;
  view.tookBack = Date.now();
  let found = null;
  act(pourId, (pour) => {
    found = pour.stamps.find((each) => each.id === id);
    if (!found) return false;
    found.undone = "yes";
    return text("phone.undone", { what: tapName(found.event) });
  });
  // Its button is gone: whoever goes by keyboard stands where it can be tapped again.
  const again = found && document.getElementById(
    `tap-${found.event}${found.subject ? `-${found.subject}` : ""}`);
  if (again && document.activeElement === document.body) again.focus({ preventScroll: true });
}

function readyBefore(pourId, minutes) {
  act(pourId, (pour) => {
    const on = last(pour, "machine_on");
    const made = stamp(pour, "was_ready", "1", new Date(on.ms - minutes * 60000));
    return made && text("phone.stored",
      { what: text("tap.was_ready"), time: made.at.slice(11, 16) });
  });
}

function describe(pourId, name, value) {
  const said = labelOf(name);
  return act(pourId, (pour, now) => say(pour, name, value, now)
    && (value === "" ? text("phone.undone", { what: said })
      : text("phone.stored", { what: said, time: clock(now) })));
}

function describeMore(pourId, kind, label, name, value) {
  const said = labelOf(name, kind === "loads" ? "trucks" : "passes");
  return act(pourId, (pour, now) => {
    const row = (pour[kind][label] ||= {});
    if ((row[name] || "") === value) return false;
    row[name] = value;
    return value === "" ? text("phone.undone", { what: said })
      : text("phone.stored", { what: said, time: clock(now) });
  });
}

function giveOut(pourId) {
  act(pourId, (pour, now) => {
    given(pour, now);
    pour.rev -= 1; // having been given out is no change of the log
    return text("phone.given_now");
  });
}

// Pieces ----------------------------------------------------------------------------------------

function button(id, label, onclick, more = {}) {
  return h("button", { type: "button", id, onclick, disabled: !kept.works, ...more }, label);
}

function undoButton(pour, done) {
  return button(`undo-${done.id}`, text("log.undo"), () => takeBack(pour.pour_id, done.id),
    { class: "undo", "aria-label": `${text("log.undo")}: ${tapName(done.event)}` });
}

// A tap's button; once tapped it stays in its place with its tick, so that a second touch of the
// same spot does nothing, and can't take back what the first one did.
function tapRow(pour, event, subject, done, more = {}) {
  const time = done && done.at.slice(11, 16);
  const shown = done ? [h("b", {}, `✓ ${time}`), ` ${more.label || tapName(event)}`]
    : [more.label || tapName(event)];
  const id = `tap-${event}${subject ? `-${subject}` : ""}`;
  return h("div", { class: "row" },
    h("button", {
      type: "button", id, class: done ? "done" : more.first ? "next" : "",
      "aria-disabled": done ? "true" : null, disabled: !kept.works || more.off,
      onclick: () => { if (!done) tap(pour.pour_id, event, subject); },
    }, shown),
    // A pass that began with the machine's first time on is taken back there.
    done && done.event === event ? undoButton(pour, done) : h("span", {}));
}

function tapList(pour, taps) {
  return h("ul", { class: "taps" }, taps.slice().reverse().map((done) => h("li", { class: "row" },
    h("span", {}, h("b", {}, `✓ ${done.at.slice(11, 16)}`), ` ${tapName(done.event)} `,
      done.subject.replace(/^load-/, "")),
    undoButton(pour, done))));
}

// One of a few by one tap; the one in force is marked, and a tap on it takes it back, unless it is
// the same touch twice.
function choices(id, name, options, inForce, choose) {
  const touch = (value) => {
    const was = view.chose || {};
    const now = Date.now();
    if (value === inForce && was.id === id && Math.abs(now - was.ms) <= SAME_TAP_MS) return;
    view.chose = { id, ms: now };
    choose(value === inForce ? "" : value);
  };
  return h("fieldset", { id }, h("legend", {}, name),
    h("div", { class: "chips" }, options.map(([value, label]) => button(
      `${id}-${value}`, (value === inForce ? "✓ " : "") + label,
      () => touch(value),
      { "aria-pressed": String(value === inForce), class: value === inForce ? "on" : "" }))));
}

function wordChoices(pour, name) {
  const options = DATA.fields[name].choices.map((value) => [value, wordOf(name, value)]);
  return choices(`about-${name}`, labelOf(name), options, told(pour, name),
    (value) => describe(pour.pour_id, name, value));
}

function unitOf(field) {
  return field.unit ? field.unit[view.units] : ["", 1];
}

function shownNumber(field, house) {
  const value = number(house);
  return house === "" || Number.isNaN(value) ? house
    : String(Number((value / unitOf(field)[1]).toPrecision(6)));
}

// The house's text of a number that somebody typed, or what is wrong with it.
function houseNumber(field, name, typed) {
  if (typed.trim() === "") return ["", ""];
  const value = number(typed);
  if (Number.isNaN(value)) return ["", text("phone.number", { what: name, value: typed })];
  const [unit, factor] = unitOf(field);
  const house = Number((value * factor).toPrecision(10));
  const [low, high] = [field.low ?? 0, field.high ?? Infinity];
  if (house < low || house > high || (field.above_low && house <= low)) {
    return ["", text("phone.range", {
      what: name, value: typed, unit, low: shownNumber(field, String(low)),
      high: field.high === null ? "…" : shownNumber(field, String(high)) })];
  }
  return [String(house), ""];
}

// A field that stores what was typed as soon as it is left; a wrong number is said beside it.
function input(id, name, field, value, store, more = {}) {
  const [unit] = unitOf(field);
  const numeric = field.kind === "number";
  const error = view.errors[id];
  return h("div", { class: "field" },
    h("label", { for: id }, name + (unit ? ` [${unit}]` : "")),
    h("input", {
      id, type: field.kind === "date" ? "date" : "text", autocomplete: "off", maxlength: 200,
      inputmode: numeric ? "decimal" : null, disabled: !kept.works, ...more,
      value: error ? error.typed : numeric ? shownNumber(field, value) : value,
      "aria-invalid": error ? "true" : null, "aria-describedby": error ? `${id}-error` : null,
      onchange: (event) => {
        const typed = event.target.value;
        const [house, wrong] = numeric ? houseNumber(field, name, typed) : [typed.trim(), ""];
        if (wrong) view.errors[id] = { typed, wrong };
        else delete view.errors[id];
        if (wrong) render();
        else if (!numeric || shownNumber(field, value) !== typed.trim()) store(house);
      },
    }),
    error ? h("p", { id: `${id}-error`, class: "wrong", role: "alert" }, error.wrong) : null);
}

function aboutInput(pour, name, more) {
  return input(`about-${name}`, labelOf(name), DATA.fields[name], told(pour, name),
    (value) => describe(pour.pour_id, name, value), more);
}

function section(id, title, ...children) {
  return h("details", {
    id, open: view.opened.has(id),
    ontoggle: ({ currentTarget }) => {
      if (currentTarget.open) view.opened.add(id);
      else view.opened.delete(id);
    },
  }, h("summary", {}, title), ...children);
}
