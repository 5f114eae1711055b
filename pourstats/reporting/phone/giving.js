// The log given out, and the pour deleted; then the three views, and what starts them.

function faults(pour) {
  const name = (event) => tapName(event);
  return [
    ...outOfOrder(pour).map(([later, earlier]) => text("phone.order",
      { later: name(later), earlier: name(earlier) })),
    ...unweighed(pour).map((number) => text("phone.load_waits", { number })),
    ...(last(pour, "gone") ? [] : [text("phone.gone_missing", { gone: tapName("gone") })]),
  ];
}

// Whether nothing that a pour needs is blank, nor anything wrong still in a field; else it is asked
// for.
function asked(pour) {
  const blank = missing(pour);
  const wrong = Object.entries(view.errors);
  if (blank.length + wrong.length === 0) return true;
  view.alert = [...wrong.map(([, error]) => error.wrong),
    ...blank.map((name) => text("phone.needs", { what: labelOf(name) }))].join(" ");
  const name = wrong.length ? wrong[0][0] : `about-${blank[0]}`;
  view.opened.add("about");
  render();
  const first = document.getElementById(name);
  first.closest("details").open = true;
  const target = first.tagName === "FIELDSET" ? first.querySelector("button") : first;
  target.scrollIntoView({ block: "center" });
  target.focus();
  return false;
}

function fileOf(pour) {
  // A mark at the start, by which a spreadsheet reads accents rightly.
  return new File([`\ufeff${logText(pour)}`], fileName(pour), { type: "text/csv" });
}

function canSend() {
  try {
    return Boolean(navigator.canShare && navigator.canShare({
      files: [new File(["x"], "stamps.csv", { type: "text/csv" })] }));
  } catch {
    return false;
  }
}

async function send(pourId) {
  const pour = kept.pour(pourId);
  if (!pour || !asked(pour)) return;
  try {
    await navigator.share({ files: [fileOf(pour)], title: fileName(pour) });
  } catch (error) {
    if (error.name !== "AbortError") {
      view.alert = text("phone.share_failed");
      render();
    }
    return;
  }
  giveOut(pourId);
}

function save(pourId) {
  const pour = kept.pour(pourId);
  if (!pour || !asked(pour)) return;
  const address = URL.createObjectURL(fileOf(pour));
  const link = h("a", { href: address, download: fileName(pour) });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(address), 60000);
  giveOut(pourId);
}

function state(pour) {
  if (!pour.given) return text("phone.not_given");
  if (pour.given.rev !== pour.rev) return text("phone.changed");
  return text("phone.given", { when: pour.given.at.slice(0, 16) });
}

function giving(pour) {
  const told = faults(pour);
  const ready = pour.stamps.length > 0 || Object.keys(pour.about).length > 0;
  return h("section", { "aria-labelledby": "give-head" },
    h("h2", { id: "give-head" }, text("phone.give")),
    h("p", { id: "given" }, state(pour)),
    told.length ? h("div", { class: "note" }, h("p", {}, text("phone.before_giving")),
      h("ul", { id: "faults" }, told.map((line) => h("li", {}, line)))) : null,
    canSend() ? button("send", text("phone.send"), () => send(pour.pour_id),
      { class: "wide next", disabled: !kept.works || !ready }) : null,
    button("save", text("phone.save"), () => save(pour.pour_id),
      { class: canSend() ? "wide" : "wide next", disabled: !kept.works || !ready }),
    ready && missing(pour).length === 0 ? section("copy", text("phone.as_text"),
      h("textarea", { id: "log-text", readonly: true, rows: 8, "aria-label": text("phone.as_text"),
        value: logText(pour), onfocus: (event) => event.target.select(),
        oncopy: () => giveOut(pour.pour_id) })) : null,
    h("p", { class: "quiet" }, text("phone.give_hint")),
    deleting(pour));
}

function deleting(pour) {
  if (!pour.given || pour.given.rev !== pour.rev) {
    return h("p", { class: "quiet" }, text("phone.delete_first"));
  }
  if (!view.asked) {
    return button("delete", text("phone.delete"), () => {
      view.asked = true;
      render();
      document.getElementById("keep").focus();
    }, { class: "wide" });
  }
  return h("div", { class: "note", role: "alertdialog", "aria-labelledby": "sure" },
    h("p", { id: "sure" }, text("phone.delete_sure", { pour_id: pour.pour_id })),
    button("keep", text("phone.keep_it"), () => { view.asked = false; render(); },
      { class: "wide" }),
    button("delete-it", text("phone.delete_it"), () => {
      kept.drop(pour.pour_id);
      live.textContent = text("phone.deleted", { pour_id: pour.pour_id });
      go(null);
    }, { class: "wide danger" }));
}

// Views -----------------------------------------------------------------------------------------

function titleOf(pour) {
  const kind = told(pour, "slab_type");
  return [pour.pour_id, kind && wordOf("slab_type", kind), told(pour, "site")].filter(Boolean)
    .join(" · ");
}

function stillToCome(pour) {
  const blank = [...missing(pour).map((name) => labelOf(name)),
    ...(last(pour, "gone") ? [] : [tapName("gone")])];
  return blank.length ? text("log.missing", { what: blank.join(", ") }) : text("phone.whole");
}

function pourView(pourId) {
  const pour = kept.pour(pourId) || fresh(pourId, new Date());
  const first = DATA.short.find((event) => !last(pour, event));
  return [
    h("h1", { tabindex: "-1" }, titleOf(pour)),
    h("p", { id: "missing" }, stillToCome(pour)),
    hands(pour),
    DATA.short.filter((event) => event !== "hands").map((event) => [
      tapRow(pour, event, "", last(pour, event), { first: event === first }),
      event === "machine_on" ? ready(pour) : null,
    ]).flat(),
    loads(pour), passes(pour), people(pour), concrete(pour), about(pour),
    giving(pour),
    button("other-pour", text("log.other_pour"), () => go(null), { class: "wide" }),
    h("p", { class: "quiet" }, text("log.care")),
  ];
}

function pourLink(pourId, ...lines) {
  return h("a", { class: "card", href: `#pour=${encodeURIComponent(pourId)}` },
    lines.filter(Boolean).map((line, i) => h(i ? "span" : "b", {}, line)));
}

// So many jobs ahead stand on the page; the others are one tap away, and a new pour isn't far below.
const FIRST_JOBS = 6;

function choose() {
  const names = kept.names();
  const pours = names.map((name) => kept.pour(name)).filter(Boolean)
    .slice().sort((a, b) => (a.began < b.began ? 1 : -1));
  const broken = names.filter((name) => !kept.pour(name));
  const jobs = DATA.jobs.filter((job) => !names.includes(job.pour_id));
  const today = day(new Date());
  const ahead = jobs.filter((job) => job.date >= today);
  const earlier = jobs.filter((job) => job.date < today).reverse();
  const card = (job) => pourLink(job.pour_id,
    [job.pour_id, job.site, wordOf("slab_type", job.slab_type)].join(" · "),
    [text("phone.reserved", { date: job.date }), job.place_start
      && text("phone.start_at", { time: job.place_start.slice(11, 16) })].filter(Boolean)
      .join(", "));
  return [
    h("h1", { tabindex: "-1" }, text("log.which")),
    broken.map((name) => h("p", { class: "wrong" }, text("phone.broken", { name }))),
    pours.length ? h("h2", {}, text("phone.on_phone")) : null,
    pours.map((pour) => pourLink(pour.pour_id, `${text("log.go_on")} ${titleOf(pour)}`,
      `${text("phone.taps", { count: DATA.short.filter((e) => last(pour, e)).length })}, `
      + state(pour))),
    ahead.length ? h("h2", {}, text("phone.ahead")) : null,
    ahead.slice(0, FIRST_JOBS).map(card),
    ahead.length > FIRST_JOBS ? section("more", text("log.more_jobs",
      { count: ahead.length - FIRST_JOBS }), ahead.slice(FIRST_JOBS).map(card)) : null,
    newPour(),
    earlier.length ? section("earlier", text("phone.earlier"), earlier.map(card)) : null,
    h("p", { class: "quiet" }, text("phone.kept")),
    h("p", { class: "quiet" }, text("phone.made", { when: DATA.made })),
    h("p", { class: "quiet" }, text("log.care")),
  ];
}

function newPour() {
  const start = (event) => {
    event.preventDefault();
    const name = document.getElementById("new-name").value.trim();
    if (!name) view.alert = text("log.needs_name");
    else if (DATA.taken.includes(name) || kept.names().includes(name)
      || DATA.jobs.some((job) => job.pour_id === name)) {
      view.alert = text("log.taken", { pour_id: name });
    } else {
      go(name);
      return;
    }
    render();
    document.getElementById("new-name").focus();
  };
  return section("new", text("log.new"), h("form", { onsubmit: start },
    h("div", { class: "field" }, h("label", { for: "new-name" }, labelOf("pour_id")),
      h("input", { id: "new-name", type: "text", maxlength: 40, autocomplete: "off",
        disabled: !kept.works })),
    h("p", { class: "quiet" }, text("log.later")),
    h("button", { id: "start", class: "wide next", disabled: !kept.works }, text("log.start"))));
}

function switches() {
  const one = (kind, value, label, lang) => h("button", {
    type: "button", id: `${kind}-${value}`, "aria-pressed": String(view[kind] === value), lang,
    class: view[kind] === value ? "on" : "",
    onclick: () => { view[kind] = value; kept.choose(kind, value); view.errors = {}; render(); },
  }, label);
  fill(document.getElementById("switches"), [
    h("div", { role: "group", "aria-label": text("switch.language") },
      Object.entries(DATA.languages).map(([code, { name }]) => one("lang", code, name, code))),
    h("div", { role: "group", "aria-label": text("switch.units") },
      ["us", "metric"].map((system) => one("units", system, text(`switch.${system}`)))),
  ]);
}

function open() {
  const found = /^#pour=(.+)$/.exec(window.location.hash);
  try {
    return found ? decodeURIComponent(found[1]).slice(0, 200) : null;
  } catch {
    return null;
  }
}

function go(pourId) {
  window.location.hash = pourId === null ? "" : `pour=${encodeURIComponent(pourId)}`;
  moved();
}

function moved() {
  Object.assign(view, { alert: "", asked: false, errors: {}, who: "" });
  render();
  window.scrollTo(0, 0);
  main.querySelector("h1").focus({ preventScroll: true });
}

function render() {
  const pourId = open();
  document.documentElement.lang = view.lang;
  document.title = pourId ? `${pourId} · ${text("phone.title")}` : text("phone.title");
  switches();
  fill(document.getElementById("sites"), DATA.sites.map((site) => h("option", { value: site })));
  // Out of the way of what is being tapped: nothing moves when it comes or goes.
  fill(document.getElementById("alert"), view.alert ? [h("p", { class: "wrong" }, view.alert)] : []);
  fill(main, [
    ...(kept.works ? [] : [h("p", { class: "wrong", id: "refused" }, text("phone.refused"))]),
    ...(pourId ? pourView(pourId) : choose()).flat(),
  ].filter((each) => each));
}

window.addEventListener("hashchange", moved);
if (kept.names().length + DATA.jobs.filter((job) => job.date >= day(new Date())).length) {
  view.opened.clear(); // a new pour, and jobs of days gone by, are one tap away
}
window.addEventListener("storage", render);
document.addEventListener("visibilitychange", () => {
  const typing = document.activeElement && document.activeElement.tagName === "INPUT";
  if (!document.hidden && !typing) render();
});
if (navigator.storage && navigator.storage.persist) {
  navigator.storage.persist().catch(() => {}); // asked for; what the browser says changes nothing
}
render();
