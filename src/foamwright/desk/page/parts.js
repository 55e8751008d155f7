/* Small helpers about elements. All words of a user reach the page as text, never as markup. */

/** An element with attributes, listeners (`onclick`) and children; null children are left out. */
export function el(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else made.setAttribute(name, value === true ? "" : value);
  }
  made.append(...children.flat().filter((c) => c !== null && c !== undefined && c !== false));
  return made;
}

/** A picture that the desk made, as an element; nothing in it can run. */
export function picture(svg) {
  return document.importNode(new DOMParser().parseFromString(svg, "image/svg+xml").documentElement, true);
}

let count = 0;

/** A labelled field: the label stands above its input; `hint` is read with it. */
export function field(label, input, hint = null) {
  input.id ||= `field-${(count += 1)}`;
  const told = hint === null ? null : el("small", { id: `${input.id}-hint` }, hint);
  if (told) input.setAttribute("aria-describedby", told.id);
  return el("div", { class: "field" }, el("label", { for: input.id }, label), input, told);
}

const filled = new WeakMap();

/** Options of a select: `[value, words]`, or `{ group, options }`; made anew only where they differ,
 * so that nobody loses a list that is open. */
export function fill(select, options, value) {
  const one = ([v, words]) => el("option", { value: v }, words);
  const key = JSON.stringify(options);
  const known = filled.get(select) === key;
  if (known && select.value === value) return;
  if (!known) {
    select.replaceChildren(
      ...options.map((o) => (Array.isArray(o) ? one(o) : el("optgroup", { label: o.group }, o.options.map(one)))),
    );
    filled.set(select, key);
  }
  select.value = value;
  if (select.value !== value) {
    filled.delete(select);
    select.append(one([value, `${value} (not on the shelf)`]));
    select.value = value;
  }
}

/** Sets a field's value, but not under the hands of who is typing in it. */
export function put(input, value) {
  if (document.activeElement !== input || input.tagName === "SELECT") input.value = value;
}

/** `12.3`, `114`: millimetres for people. */
export const mm = (value) => String(Math.round(value * 10) / 10);

/** `1 sheet`, `2 sheets`. */
export const counted = (n, noun) => `${n} ${noun}${n === 1 ? "" : "s"}`;
