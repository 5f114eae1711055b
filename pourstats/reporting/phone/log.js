// The pour's log as it is given out: the stamps table as a CSV file, and what is wrong with it.

const HEAD = ["stamp_id", "pour_id", "event", "subject", "at", "undone"];

// The marks that part values are written so that a value may hold them.
function escaped(value) {
  return value.replaceAll("%", "%25").replaceAll(";", "%3B").replaceAll("=", "%3D");
}

function pairs(values) {
  return Object.entries(values).filter(([, value]) => value !== "" && value !== undefined)
    .map(([name, value]) => `${name}=${escaped(String(value))}`);
}

function logRows(pour) {
  const rows = [];
  const add = (id, event, subject, at, undone) => rows.push(
    [id, pour.pour_id, event, subject, at, undone]);
  if (pour.job) {
    const known = Object.fromEntries(DATA.from_job.filter((name) => name !== "date")
      .map((name) => [name, pour.job[name] ?? ""]));
    add(`${pour.id}-job`, "describe", ["planned", ...pairs(known)].join(";"), pour.began, "no");
  }
  const date = told(pour, "date");
  if (date && !(pour.about.date && !pour.about.date.gone)) {
    add(`${pour.id}-date`, "describe", `date=${date}`, pour.began, "no");
  }
  for (const [name, said] of Object.entries(pour.about)) {
    add(said.id, "describe", pairs({ [name]: said.value }).join(";"), said.at,
      said.gone ? "yes" : "no");
  }
  for (const each of pour.stamps) {
    add(each.id, each.event, [each.subject, ...more(pour, each)].join(";"), each.at, each.undone);
    if (each.event === "machine_on") firstPass(pour, each, add);
  }
  return rows;
}

// A load's volume and ticket, a pass's boot print: with the first tap of it that stands.
function more(pour, each) {
  const kind = each.event in DATA.events.load ? "load"
    : each.event in DATA.events.pass && each.event !== "was_ready" ? "pass" : null;
  if (!kind || each.undone === "yes") return [];
  const first = standing(pour).find((other) => other.event in DATA.events[kind]
    && other.event !== "was_ready" && other.subject === each.subject);
  const said = kind === "load" ? pour.loads[each.subject] : pour.passes[each.subject];
  return first === each && said ? pairs(said) : [];
}

// Machine on is the first pass's start too, once something else of that pass was said. A log that
// was given out with it takes it back later if that was taken back.
function firstPass(pour, machine, add) {
  const own = standing(pour).some((each) => each.event === "pass_on" && each.subject === "1");
  const said = pairs(pour.passes["1"] || {});
  const more = standing(pour).some(
    (each) => each.event in DATA.events.pass && each.subject === "1");
  const stands = machine.undone !== "yes" && last(pour, "machine_on") === machine && !own
    && (more || said.length > 0);
  if (!stands && !machine.on) return;
  add(`${machine.id}-on`, "pass_on", ["1", ...(stands ? said : [])].join(";"), machine.at,
    stands ? "no" : "yes");
}

// A text that a spreadsheet would take for a formula begins with an apostrophe, which the reader
// takes off again.
function cell(text) {
  const plain = text.replaceAll("\0", "\ufffd");
  const guarded = /^'*[=+\-@\t]/.test(plain) ? `'${plain}` : plain;
  return /[",\r\n]|^\s|\s$/.test(guarded) ? `"${guarded.replaceAll('"', '""')}"` : guarded;
}

function logText(pour) {
  return [HEAD, ...logRows(pour)].map((row) => row.map(cell).join(",")).join("\r\n") + "\r\n";
}

function fileName(pour) {
  const plain = pour.pour_id.replace(/[^\p{L}\p{N}_-]+/gu, "_").slice(0, 40);
  return `stamps_${plain}_${told(pour, "date")}.csv`;
}

// The log has left the phone: a change after this is told apart.
function given(pour, now) {
  const machine = last(pour, "machine_on");
  if (machine && logRows(pour).some((row) => row[0] === `${machine.id}-on`)) machine.on = true;
  pour.given = { at: wall(now), rev: pour.rev };
}

// Pairs of taps of which the later-named stands before the other: [later, earlier] events.
function outOfOrder(pour) {
  const found = [];
  const check = (kind, table, times) => {
    const events = Object.fromEntries(
      Object.entries(DATA.events[kind]).map(([event, column]) => [column, event]));
    for (const [first, then] of DATA.order[table]) {
      const [a, b] = [times[events[first]], times[events[then]]];
      if (a && b && b.at < a.at) found.push([events[then], events[first]]);
    }
  };
  check("pour", "pours", Object.fromEntries(
    Object.keys(DATA.events.pour).map((event) => [event, last(pour, event)])));
  for (const times of Object.values(timesOf(pour, "load"))) check("load", "trucks", times);
  for (const times of Object.values(timesOf(pour, "pass"))) check("pass", "passes", times);
  return found;
}

// Loads with times but no volume; such a load is no row yet.
function unweighed(pour) {
  return Object.keys(timesOf(pour, "load")).filter(
    (number) => !(pour.loads[label("load", number)] || {}).volume);
}

// Numbers as people type them: 4.5, 4,5, 1,200, 4 1/2. NaN for what is none.
function number(text) {
  const plain = text.trim();
  const part = /^(?:(\d+)[ -]+)?(\d+)\s*\/\s*(\d+)$/.exec(plain);
  if (part) return Number(part[1] || 0) + Number(part[2]) / Number(part[3]);
  if (/^\d{1,3}(,\d{3})+(\.\d+)?$/.test(plain)) return Number(plain.replaceAll(",", ""));
  if (/^\d+,\d+$/.test(plain)) return Number(plain.replace(",", "."));
  return /^\d*\.?\d+$|^\d+\.$/.test(plain) ? Number(plain) : NaN;
}
