// The sorting table as a page shows it. It draws what Python says (`screen.py`) and passes on what a person does;
// what a key means is decided there. Text goes in as text, drawings as pictures: nothing noted can run as code.

const WAIT = 4000; // ms without an answer, until the table says so
const IN_TEXT = ["ArrowLeft", "ArrowRight", "Backspace", "Home", "End"]; // what moves in a line of text

/** An element with its properties, attributes (names with a hyphen, role) and children; empty children are left out. */
function make(tag, given = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(given)) {
    if (name === "role" || name.includes("-")) element.setAttribute(name, value);
    else element[name] = value;
  }
  element.append(...children.flat().filter((child) => child !== "" && child != null));
  return element;
}

/** Text in which a browser breaks no word at its hyphen, where the whole word fits a line, and no "26 %". */
const held = (words) =>
  words.replaceAll(/(?<=\d) %/g, "\u00a0%").split(/([ \n\t]+)/).map((word) => (/\S[-–/]\S/.test(word) && word.length < 18 ? make("span", { className: "held" }, word) : word));
const text = (className, words, tag = "p") => (words ? make(tag, { className }, held(words)) : "");
const perCent = (chance) => (chance < 0.005 ? "under 1 %" : chance > 0.995 ? "over 99 %" : `${Math.round(100 * chance)} %`);
const cap = (key) => (key ? make("kbd", { "aria-hidden": "true" }, NAMES[key] ?? key) : "");
// what a button answers to, for those who listen: the sign of it is for the eye
const shortcut = (key) => (key ? { "aria-keyshortcuts": key === " " ? "Space" : key } : {});
// the keys that are more than a letter or sign, as a browser names them, and as they are shown
const NAMES = {
  " ": "Space", Enter: "Enter", Escape: "Esc", Backspace: "⌫", Delete: "Delete",
  ArrowUp: "↑", ArrowDown: "↓", ArrowLeft: "←", ArrowRight: "→",
};

function render({ model, el }) {
  const own = `sorting-${Math.random().toString(36).slice(2)}`; // two views on a page have ids of their own
  const pictures = new Map();
  let sent = 0;
  let waiting;
  let screen;

  const send = (content) => {
    sent += 1;
    root.setAttribute("aria-busy", "true");
    model.send(content);
    clearTimeout(waiting);
    waiting = setTimeout(() => (silent.hidden = false), WAIT);
  };
  const behind = () => sent > screen.answered - first;

  const button = (does, given, ...children) =>
    make("button", { type: "button", tabIndex: -1, onclick: () => send(does), ...given }, ...children);

  // -- the parts, from top to bottom; each is drawn again only where it changed
  const pieces = make("div", { className: "pieces" });
  const said = make("p", { className: "said", role: "status" });
  const silent = make(
    "p", { className: "silent", role: "alert", hidden: true },
    "Python does not answer: it is busy, or its kernel has stopped. What you noted is kept beside the sheet. " +
    "If the kernel has stopped, run the cell again.",
  );
  const messages = make("div", { className: "messages" });
  const clues = make("div", { className: "clues", role: "group", "aria-label": "What was seen" });
  const heading = make("div", { className: "heading" });
  const typed = make("input", {
    type: "text", spellcheck: false, autocomplete: "off", autocapitalize: "off", oninput: () => send({ do: "type", text: typed.value }),
  });
  const doubt = make("input", {
    type: "range", min: 0, max: 1, step: 0.1, oninput: () => send({ do: "doubt", value: Number(doubt.value) }),
  });
  const doubted = make("b", {});
  const slider = make("div", { className: "doubt" }, doubted, make("span", {}, "certain"), doubt, make("span", {}, "no idea"));
  const words = make("div", { className: "words", role: "group" });
  const open = make("div", { className: "open" }, heading, typed, words);
  const trays = make("div", { className: "trays", role: "group", "aria-label": "Trays" });
  const commands = make("div", { className: "commands", role: "group", "aria-label": "Keys" });
  const root = make(
    "section",
    {
      className: "scarfdate-sorting", tabIndex: 0, role: "application", "aria-label": "Sorting table",
      "data-lm-suppress-shortcuts": "true", // letters are clues here, and not what the notebook does at them
    },
    make("div", { className: "top" }, pieces, make("div", { className: "work" }, said, silent, messages, slider, clues, open)),
    trays, commands,
  );

  const seen = new Map();
  const again = (part, data, draw) => {
    const now = JSON.stringify(data);
    if (seen.get(part) === now) return;
    seen.set(part, now);
    part.replaceChildren(...[draw()].flat().filter((child) => child !== ""));
  };

  // -- what is known of a piece
  const drawPiece = (piece, title, most) => {
    const { answer } = piece;
    const bars = answer.bars.map((bar) => {
      const block = make("span", { className: "bar", "aria-hidden": "true" });
      block.style.setProperty("--part", bar.chance / most);
      return make("li", {}, make("span", { className: "decade" }, bar.label), make("span", { className: "room" }, block), make("span", { className: "chance" }, bar.words));
    });
    const noted = piece.noted.map(([clue, what]) => `${clue}: ${what}`).join("; ");
    return make(
      "article", { "aria-label": title },
      text("name", title),
      text("sentence", answer.sentence),
      make("ol", { className: "bars", "aria-label": "Chance of each decade" }, bars),
      make(
        "div", { className: "why" },
        answer.reasons.length ? make("ul", { "aria-label": "Strongest reasons" }, answer.reasons.map((reason) => text("", reason, "li"))) : "",
        text("earliest", answer.earliest),
        text("look", answer.next_look),
        text("caution", answer.caution),
        answer.warnings.map((warning) => text("warning", warning)),
      ),
      text("seen", noted),
    );
  };
  const highest = ({ answer }) => Math.max(...answer.bars.map((bar) => bar.chance));
  const drawPieces = ({ piece, other, hand, comparison }) => {
    root.classList.toggle("two", Boolean(other));
    if (!other) return drawPiece(piece, `Piece ${piece.id}`, highest(piece));
    const most = Math.max(highest(piece), highest(other)); // one scale, so that bars can be held against each other
    const title = (one, name) => `${name}${one.id && ` (${one.id})`}${one === piece ? ", in hand" : ""}`;
    const [first, second] = hand === "first" ? [piece, other] : [other, piece];
    return [
      drawPiece(first, title(first, "The first"), most),
      drawPiece(second, title(second, "The second"), most),
      text("comparison", comparison),
    ];
  };

  // -- what is chosen
  const sureness = ({ noted, sure, doubt }) => (doubt ? `${noted}, ${perCent(sure)} sure` : noted);
  const drawClue = (clue, at) =>
    button(
      { do: "open", clue: clue.name },
      { id: `${own}-clue-${at}`, className: `clue${clue.noted ? " noted" : ""}${clue.marked ? " marked" : ""}`, ...shortcut(clue.key) },
      cap(clue.key),
      make("span", { className: "title" }, clue.title),
      text("value", clue.noted ? sureness(clue) : "not looked at", "span"),
    );
  const picture = (name, alt) => {
    if (!name) return "";
    if (!pictures.has(name)) {
      pictures.set(name, make("img", { alt, hidden: true }));
      model.send({ do: "drawing", name });
    }
    return pictures.get(name);
  };
  const drawWord = (clue, word, at) =>
    button(
      { do: "choose", clue, word: word.word },
      {
        id: `${own}-word-${at}`, "aria-pressed": String(word.noted),
        className: `word${word.noted ? " noted" : ""}${word.marked ? " marked" : ""}`,
        ...shortcut(word.key),
      },
      cap(word.key),
      make("b", {}, held(word.word), word.noted ? " ✓" : ""),
      text("means", word.means, "span"),
      picture(word.drawing, word.word),
    );

  /** What stands elsewhere already, the sentence and what to look at, is for those who listen. */
  const drawSaid = ({ said: words, open: clue, piece: { answer: { sentence } } }) => {
    const known = [sentence, clue && `${clue.title}: ${clue.help}.`].find((other) => other && words.endsWith(other));
    if (!known) return text("", words, "span");
    return [text("", words.slice(0, -known.length), "span"), make("span", { className: "unseen" }, known)];
  };
  const showDoubt = (clue) => {
    slider.hidden = clue?.doubt == null;
    if (slider.hidden) return;
    doubted.textContent = `${clue.title}: ${sureness(clue)}`;
    doubt.setAttribute("aria-label", `Doubt, ${clue.title}`);
    doubt.setAttribute("aria-valuetext", sureness(clue));
    if (!behind()) doubt.value = clue.doubt;
  };
  const showOpen = (clue, place) => {
    open.hidden = !clue;
    clues.hidden = Boolean(clue);
    if (!clue) return;
    const other = words.dataset.clue !== clue.name;
    words.dataset.clue = clue.name;
    again(heading, [clue.title, clue.help, clue.method, clue.methods], () => [
      text("name", clue.title),
      text("help", clue.help),
      clue.methods.length > 1 ? make("div", { className: "methods", role: "group", "aria-label": "Looked at by" }, clue.methods.map((way, at) => {
        const chosen = clue.method ? way === clue.method : at === 0;
        return button({ do: "method", method: way }, { className: chosen ? "chosen" : "", "aria-pressed": String(chosen) }, `${chosen ? "✓ " : ""}${way}`);
      })) : "",
    ]);
    words.setAttribute("aria-label", clue.title);
    words.classList.toggle("pictured", clue.words.some((word) => word.drawing));
    again(words, [clue.name, clue.words], () => clue.words.map((word, at) => drawWord(clue.name, word, at)));
    typed.hidden = place !== "typing";
    typed.setAttribute("aria-label", clue.title);
    if (!behind() && typed.value !== clue.typed) typed.value = clue.typed;
    if (other) heading.scrollIntoView({ block: "nearest" });
  };

  const show = () => {
    const before = document.activeElement;
    screen = model.get("screen");
    again(pieces, [screen.piece, screen.other, screen.hand, screen.comparison], () => drawPieces(screen));
    again(clues, screen.clues, () => screen.clues.map(drawClue));
    showDoubt(screen.clues.find((clue) => clue.marked));
    showOpen(screen.open, screen.place);
    again(messages, screen.messages, () => screen.messages.map((message) => text("message", message)));
    again(trays, screen.trays, () =>
      screen.trays.map((tray) =>
        button(
          { do: "tray", era: tray.era },
          { className: `tray${tray.proposed ? " proposed" : ""}`, ...shortcut(tray.key) },
          cap(tray.key), make("b", {}, tray.era), make("span", {}, tray.count === 1 ? "1 piece" : `${tray.count || "no"} pieces`),
          make("span", {}, `${perCent(tray.chance)}${tray.proposed ? ", likeliest" : ""}`),
        ),
      ),
    );
    again(commands, screen.commands, () =>
      screen.commands.map((command) => button({ do: "press", key: command.key }, { className: "command", ...shortcut(command.key) }, cap(command.key), make("span", {}, command.does))),
    );
    again(said, screen.said, () => drawSaid(screen));
    const marked = root.querySelector(".work > :not([hidden]) .marked");
    if (marked) {
      root.setAttribute("aria-activedescendant", marked.id);
      marked.scrollIntoView({ block: "nearest" });
    } else root.removeAttribute("aria-activedescendant");
    root.setAttribute("aria-busy", String(behind()));
    if (!behind()) {
      clearTimeout(waiting);
      silent.hidden = true;
    }
    if (root.contains(before) && (before !== doubt || slider.hidden)) focus();
  };

  /** Keys go to the table; where a line is typed, to that, as soon as it shows all that was pressed before. */
  const focus = () => {
    if (screen.place !== "typing") root.focus({ preventScroll: true });
    else if (!behind()) typed.focus({ preventScroll: true });
  };

  root.addEventListener("mousedown", (event) => {
    if (event.target.tagName === "INPUT") return;
    event.preventDefault(); // a tap leaves the focus where keys go
    if (!root.contains(document.activeElement)) root.focus({ preventScroll: true });
  });
  root.addEventListener("keydown", (event) => {
    event.stopPropagation();
    if (event.ctrlKey || event.metaKey || event.altKey || event.key === "Tab" || event.isComposing) return;
    if (event.target === typed && (event.key.length === 1 || IN_TEXT.includes(event.key))) return;
    if (event.target === typed && event.key === "Delete" && typed.selectionStart < typed.value.length) return;
    if (event.target === doubt && event.key.startsWith("Arrow")) return;
    if (event.key.length > 1 && !(event.key in NAMES)) return;
    event.preventDefault();
    if (event.target === typed) root.focus({ preventScroll: true }); // the next key may not be for the line any more
    send({ do: "press", key: event.key });
  });

  model.on("msg:custom", (answer) => {
    if (!pictures.has(answer.drawing)) return;
    const image = pictures.get(answer.drawing);
    image.src = `data:image/svg+xml,${encodeURIComponent(answer.svg)}`;
    image.alt = answer.alt;
    image.hidden = false;
  });
  model.on("change:screen", show);

  const first = model.get("screen").answered;
  el.append(root);
  show();
  return () => {
    clearTimeout(waiting);
    model.off("change:screen", show);
  };
}

export default { render };
