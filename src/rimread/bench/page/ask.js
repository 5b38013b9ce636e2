// Questions to the bench. Every answer is its whole state; a refusal is a sentence for people.

export class Told extends Error {
  constructor(sentence, desk = null) { super(sentence); this.desk = desk; } // the desk, where another page changed it
}

async function answer(response) {
  let told = {};
  try {
    told = await response.json();
  } catch {
    throw new Told(`The bench gave no answer that can be read (${response.status}).`);
  }
  if (!response.ok) throw new Told(told.error ?? `The bench answered ${response.status}.`, told.desk);
  return told;
}

async function reach(path, options) {
  try {
    return await fetch(path, options);
  } catch {
    throw new Told("The bench does not answer: is the program still running?");
  }
}

export async function get(path) {
  return answer(await reach(path, { cache: "no-store" }));
}

export async function post(path, words = {}) {
  return answer(await reach(path, {
    method: "POST",
    headers: { "Content-Type": "application/json" },
    body: JSON.stringify(words),
  }));
}

export async function send(path, file) {
  return answer(await reach(path, {
    method: "POST",
    headers: { "Content-Type": "application/octet-stream", "X-Name": encodeURIComponent(file.name) },
    body: file,
  }));
}
