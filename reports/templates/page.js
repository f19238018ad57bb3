(function () {
  "use strict";
  const read = (id) => JSON.parse(document.getElementById(id).textContent);
  const made = (name, text, cls) => {
    const element = document.createElement(name);
    if (text !== undefined) element.textContent = text;
    if (cls) element.className = cls;
    return element;
  };
  const words = read("words");
  const tip = document.getElementById("tip");

  function showTip(text, box) {
    tip.textContent = text;
    tip.hidden = false;
    const width = document.documentElement.clientWidth;
    const left = Math.max(8, Math.min(box.left, width - tip.offsetWidth - 8));
    tip.style.left = left + window.scrollX + "px";
    tip.style.top = box.bottom + 10 + window.scrollY + "px";
  }
  const hideTip = () => { tip.hidden = true; };

  function onHover(handler, event, item, value) {
    if (!value) { hideTip(); return; }
    const text = typeof value === "object" ? Object.values(value).join("\n") : String(value);
    showTip(text, { left: event.clientX + 12, bottom: event.clientY });
  }

  function walkMarks(plot) {
    let at = -1;
    plot.addEventListener("keydown", (event) => {
      const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
      if (event.key === "Escape") { hideTip(); return; }
      if (!step) return;
      const marks = plot.querySelectorAll('[role="graphics-symbol"][aria-label]:not([aria-roledescription="axis"])');
      if (!marks.length) return;
      event.preventDefault();
      at = (at + step + marks.length) % marks.length;
      showTip(marks[at].getAttribute("aria-label"), marks[at].getBoundingClientRect());
    });
    plot.addEventListener("blur", hideTip);
  }

  const noLoader = { load: () => Promise.reject(new Error("this page loads nothing")), sanitize: () => Promise.reject(new Error("this page links nowhere")) };
  const drawn = Array.from(document.querySelectorAll("[data-plot]")).map((plot) => {
    const data = document.querySelector(`script[data-chart="${plot.dataset.plot}"]`);
    walkMarks(plot);
    return window.vegaEmbed(plot, JSON.parse(data.textContent), {
      mode: "vega-lite", renderer: "svg", ast: true, actions: false, defaultStyle: false, loader: noLoader, tooltip: onHover,
    }).then((made) => {
      plot.dataset.drawn = "yes";
      return made.view;
    });
  });
  const views = [];
  Promise.all(drawn).then((all) => { views.push(...all); document.documentElement.dataset.drawn = String(drawn.length); });

  const jobs = read("jobs");
  let dialog = null;

  function openJobs(key) {
    const list = jobs.lists[key];
    if (!list) return;
    if (!dialog) {
      dialog = made("dialog");
      document.body.append(dialog);
      dialog.addEventListener("click", (event) => { if (event.target === dialog) dialog.close(); });
    }
    const head = made("div", undefined, "jobs-head");
    const titles = made("div");
    const title = made("h2", list.title);
    title.id = "jobs-title";
    titles.append(title, made("p", list.note));
    const close = made("button", words.close);
    close.type = "button";
    close.addEventListener("click", () => dialog.close());
    const print = made("button", words.print);
    print.type = "button";
    print.addEventListener("click", () => { document.body.classList.add("is-list"); window.print(); });
    const buttons = made("div", undefined, "jobs-buttons");
    buttons.append(print, close);
    head.append(titles, buttons);
    const rows = made("ol", undefined, "jobs-list");
    for (const number of list.rows) {
      const [unit, said, visits] = jobs.rows[number];
      const row = made("li");
      row.append(made("p", unit, "unit"), made("p", said, "said"));
      const steps = made("ol");
      for (const visit of visits) {
        const step = made("li");
        step.append(...visit.map((text) => made("span", text)));
        steps.append(step);
      }
      row.append(steps);
      rows.append(row);
    }
    dialog.setAttribute("aria-labelledby", "jobs-title");
    dialog.replaceChildren(head, rows);
    dialog.showModal();
    dialog.scrollTop = 0;
  }
  document.addEventListener("click", (event) => {
    const button = event.target.closest("button[data-jobs]");
    if (button) openJobs(button.dataset.jobs);
  });

  // on paper every chart has the same width, whatever the screen was
  const PAPER = 720;
  const widths = new Map();
  const opened = [];
  window.addEventListener("beforeprint", () => {
    hideTip();
    for (const closed of document.querySelectorAll("details:not([open])")) { closed.open = true; opened.push(closed); }
    for (const view of views) {
      widths.set(view, view.signal("width"));
      view.signal("width", PAPER).run();
    }
  });
  window.addEventListener("afterprint", () => {
    for (const closed of opened.splice(0)) closed.open = false;
    document.body.classList.remove("is-list");
    for (const view of views) view.signal("width", widths.get(view)).run();
  });
})();
