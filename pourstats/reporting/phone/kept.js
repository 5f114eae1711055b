// What the phone keeps: a pour an entry of its own storage, read anew before each change.

const PREFIX = "pourstats.pour.";
const SAME_TAP_MS = 3000;

const kept = (() => {
  // Some browsers refuse by throwing, some by giving nothing, some by keeping nothing.
  let box = null;
  try {
    const probe = "pourstats.probe";
    window.localStorage.setItem(probe, "1");
    if (window.localStorage.getItem(probe) === "1") box = window.localStorage;
    window.localStorage.removeItem(probe);
  } catch {
    box = null;
  }

  // The pour of that label, or null; a text that is none is left as it is.
  function pour(pourId) {
    const text = box && box.getItem(PREFIX + pourId);
    if (!text) return null;
    try {
      const found = JSON.parse(text);
      const whole = found && found.pour_id === pourId && Array.isArray(found.stamps)
        && ["about", "loads", "passes"].every((part) => found[part] instanceof Object);
      return whole ? found : null;
    } catch {
      return null;
    }
  }

  // Whether it now stands in the phone's storage; only then may a tick be shown.
  function put(found) {
    if (!box) return false;
    const text = JSON.stringify(found);
    try {
      box.setItem(PREFIX + found.pour_id, text);
      return box.getItem(PREFIX + found.pour_id) === text;
    } catch {
      return false;
    }
  }

  function names() {
    const found = [];
    for (let i = 0; box && i < box.length; i += 1) {
      const key = box.key(i);
      if (key && key.startsWith(PREFIX)) found.push(key.slice(PREFIX.length));
    }
    return found;
  }

  return {
    get works() { return box !== null; },
    pour, put, names,
    drop: (pourId) => box.removeItem(PREFIX + pourId),
    choice: (name) => (box ? box.getItem(`pourstats.${name}`) : null),
    choose(name, value) {
      try {
        if (box) box.setItem(`pourstats.${name}`, value);
      } catch { /* a language that isn't remembered harms nothing */ }
    },
  };
})();

function two(number) {
  return String(number).padStart(2, "0");
}

// The clock on the wall, as the log has it: no zone, to the second.
function wall(moment) {
  return `${day(moment)} ${clock(moment)}:${two(moment.getSeconds())}`;
}

function day(moment) {
  const year = String(moment.getFullYear()).padStart(4, "0");
  return `${year}-${two(moment.getMonth() + 1)}-${two(moment.getDate())}`;
}

function clock(moment) {
  return `${two(moment.getHours())}:${two(moment.getMinutes())}`;
}

// A label that no other device makes.
function mark() {
  const bytes = window.crypto.getRandomValues(new Uint8Array(16));
  return `p${[...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("")}`;
}

function fresh(pourId, now) {
  return {
    pour_id: pourId, job: DATA.jobs.find((job) => job.pour_id === pourId) || null,
    id: mark(), began: wall(now), stamps: [], about: {}, loads: {}, passes: {}, rev: 0, given: null,
  };
}

// Taps ---------------------------------------------------------------------------------------

function standing(pour) {
  return pour.stamps.filter((stamp) => stamp.undone !== "yes");
}

function last(pour, event, subject) {
  return standing(pour).filter(
    (stamp) => stamp.event === event && (subject === undefined || stamp.subject === subject)).at(-1);
}

function of(pour, events) {
  return standing(pour).filter((stamp) => events.includes(stamp.event));
}

// Stamps a tap; null if it is the same tap again. Of loads and passes the label has moved on by
// the second touch of the same button, so there the event alone tells.
function stamp(pour, event, subject, now) {
  const numbered = event in DATA.events.load || event in DATA.events.pass;
  const same = standing(pour).find((each) => each.event === event
    && (numbered || each.subject === subject) && Math.abs(now - each.ms) <= SAME_TAP_MS);
  if (same) return null;
  const made = { id: mark(), event, subject, at: wall(now), ms: Number(now), undone: "no" };
  pour.stamps.push(made);
  return made;
}

// The load or pass under way: the last one if something of it is still to tap, else the next.
function current(pour, kind) {
  const events = Object.keys(DATA.events[kind]).filter((event) => event !== "was_ready");
  const times = timesOf(pour, kind);
  const numbers = Object.keys(times).map(Number);
  const highest = Math.max(0, ...numbers);
  const open = highest && !times[highest][events.at(-1)];
  const number = open ? highest : highest + 1;
  return { number, label: label(kind, number), times: times[number] || {} };
}

function label(kind, number) {
  return kind === "load" ? `load-${number}` : String(number);
}

// number → event → the tap. The machine's first time on is the first pass's, where nobody said
// another.
function timesOf(pour, kind) {
  const found = {};
  for (const each of of(pour, Object.keys(DATA.events[kind]))) {
    const number = Number(each.subject.split("-").at(-1));
    (found[number] ||= {})[each.event] = each;
  }
  const machine = kind === "pass" && last(pour, "machine_on");
  if (machine && !(found[1] && found[1].pass_on)) (found[1] ||= {}).pass_on = machine;
  return found;
}

// What the pour is -----------------------------------------------------------------------------

// A column's text in house units: said on this phone, else the planned job's.
function told(pour, name) {
  const said = pour.about[name];
  if (said && !said.gone) return said.value;
  if (name === "date") {
    const first = standing(pour).reduce((a, b) => (a && a.ms <= b.ms ? a : b), null);
    if (first) return first.at.slice(0, 10);
  }
  if (name === "pour_id") return pour.pour_id;
  const planned = pour.job && DATA.from_job.includes(name) ? pour.job[name] : undefined;
  return planned === undefined || planned === null ? "" : String(planned);
}

function say(pour, name, value, now) {
  const old = pour.about[name];
  if (value === "" && !old) return false;
  if (old && !old.gone && old.value === value) return false;
  if (value === "") Object.assign(old, { gone: true });
  else pour.about[name] = { id: old ? old.id : mark(), value, at: wall(now), gone: false };
  return true;
}

function missing(pour) {
  return DATA.required.filter((name) => told(pour, name) === "");
}
