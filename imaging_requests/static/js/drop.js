// Sends files of a drop resumably, three at a time, and says how far each has come. Files are
// announced before the first byte is sent, so that the program knows what is still to come.
// Without this file the form sends them in one go. On the sorting table: ticks all, moves by key.

const AT_ONCE = 3;
const ANNOUNCE_AT_ONCE = 4;
const PAUSES_MS = [0, 1000, 3000, 5000, 10000, 20000, 40000, 60000];
const VERSION = "1.0.0";
const GONE = [404, 410];

// Characters that turn the order of a line are written out, as the program does on its pages.
const TURNING = /[\u061C\u200E\u200F\u202A-\u202E\u2066-\u2069]/g;

function shown(name) {
  const written = (sign) => sign.charCodeAt(0).toString(16).toUpperCase().padStart(4, "0");
  return name.replace(TURNING, (sign) => `[U+${written(sign)}]`);
}

function bytes(number) {
  const units = ["bytes", "KB", "MB", "GB", "TB"];
  let rest = number;
  let unit = 0;
  while (rest >= 1024 && unit < units.length - 1) {
    rest /= 1024;
    unit += 1;
  }
  return `${unit ? rest.toFixed(1) : rest} ${units[unit]}`;
}

function base64(text) {
  return btoa(String.fromCodePoint(...new TextEncoder().encode(text)));
}

async function inTurns(items, width, work) {
  const queue = [...items];
  const turn = async () => {
    while (queue.length) {
      await work(queue.shift());
    }
  };
  await Promise.all(Array.from({ length: width }, turn));
}

function changed() {
  document.body.dispatchEvent(new Event("drop:changed"));
}

class Sender {
  constructor(form) {
    this.form = form;
    this.drop = form.dataset.drop;
    this.endpoint = new URL(form.dataset.endpoint, location.href).href;
    this.token = form.querySelector("[name=csrfmiddlewaretoken]").value;
    this.box = document.querySelector("[data-sending]");
    this.list = this.box.querySelector("[data-files]");
    this.pattern = document.querySelector("template[data-file]");
    this.storage = window.tus.defaultOptions.urlStorage;
    this.sent = new Map();
    this.total = 0;
    this.done = 0;
    this.number = 0;
    this.failed = 0;
  }

  fingerprint(file) {
    return ["drop", this.drop, file.name, file.size, file.lastModified].join("|");
  }

  async send(files) {
    const inOrder = [...files].sort(
      (one, other) => one.lastModified - other.lastModified || one.name.localeCompare(other.name),
    );
    this.number += inOrder.length;
    this.total += inOrder.reduce((sum, file) => sum + file.size, 0);
    this.box.hidden = false;
    this.show();
    const tasks = inOrder.map((file) => ({ file, key: this.fingerprint(file) }));
    await inTurns(tasks, ANNOUNCE_AT_ONCE, (task) => this.announce(task));
    changed();
    await inTurns(tasks, AT_ONCE, (task) => (task.address ? this.upload(task) : null));
    changed();
  }

  async announce(task) {
    const known = await this.storage.findUploadsByFingerprint(task.key);
    if (known.length) {
      task.address = known[0].uploadUrl;
      return;
    }
    const answer = await fetch(this.endpoint, {
      method: "POST",
      headers: {
        "Tus-Resumable": VERSION,
        "Upload-Length": String(task.file.size),
        "Upload-Metadata": `filename ${base64(task.file.name)},drop ${base64(this.drop)}`,
        "X-CSRFToken": this.token,
      },
    }).catch(() => null);
    if (answer?.ok) {
      task.address = new URL(answer.headers.get("Location"), location.href).href;
      await this.storage.addUpload(task.key, {
        size: task.file.size,
        metadata: {},
        creationTime: new Date().toString(),
        uploadUrl: task.address,
      });
      return;
    }
    const words = answer ? await answer.text() : "The connection is gone; nothing was lost.";
    this.fail(task, words, () => this.again(task));
  }

  // Forgets where a file was being sent to, so that it begins anew when it is chosen again.
  async forget(task) {
    task.address = null;
    this.sent.delete(task.key);
    for (const known of await this.storage.findUploadsByFingerprint(task.key)) {
      await this.storage.removeUpload(known.urlStorageKey);
    }
  }

  async again(task) {
    await this.announce(task);
    if (task.address) {
      await this.upload(task);
    }
  }

  upload(task) {
    const row = this.row(task);
    let isUnderWay = false;
    return new Promise((resolve) => {
      const upload = new window.tus.Upload(task.file, {
        endpoint: null,
        uploadUrl: task.address,
        headers: { "X-CSRFToken": this.token },
        fingerprint: () => Promise.resolve(task.key),
        removeFingerprintOnSuccess: true,
        retryDelays: PAUSES_MS,
        onProgress: (sent) => {
          isUnderWay = true;
          row.say(`${bytes(sent)} of ${bytes(task.file.size)}`, sent / (task.file.size || 1));
          this.sent.set(task.key, sent);
          this.show();
        },
        onError: async (error) => {
          const answer = error.originalResponse?.getBody();
          if (GONE.includes(error.originalResponse?.getStatus())) {
            await this.forget(task);
            if (isUnderWay) {
              this.fail(task, "It was given up meanwhile. Nothing of it is kept.", () =>
                this.again(task),
              );
            } else {
              await this.again(task);
            }
          } else {
            this.fail(task, answer || "The connection was cut. What is here is kept.", () =>
              this.upload(task),
            );
          }
          resolve();
        },
        onSuccess: async () => {
          await this.forget(task);
          this.sent.set(task.key, task.file.size);
          this.done += 1;
          row.remove();
          this.show();
          resolve();
        },
      });
      upload.start();
    });
  }

  row(task) {
    if (task.row) {
      return task.row;
    }
    const item = this.pattern.content.firstElementChild.cloneNode(true);
    const words = item.querySelector("[data-say-it]");
    const bar = item.querySelector("progress");
    item.querySelector("[data-name]").textContent = shown(task.file.name);
    bar.setAttribute("aria-label", shown(task.file.name));
    this.list.append(item);
    task.row = {
      item,
      say(text, share) {
        words.textContent = text;
        bar.value = Math.floor(100 * share);
      },
      remove() {
        item.remove();
      },
    };
    return task.row;
  }

  fail(task, text, repeat) {
    const row = this.row(task);
    row.say(text, (this.sent.get(task.key) ?? 0) / (task.file.size || 1));
    this.failed += 1;
    const button = row.item.querySelector("[data-again]");
    button.hidden = false;
    button.addEventListener(
      "click",
      async () => {
        button.hidden = true;
        this.failed -= 1;
        await repeat();
        changed();
      },
      { once: true },
    );
    this.show();
  }

  show() {
    const sent = [...this.sent.values()].reduce((sum, part) => sum + part, 0);
    const stopped = this.failed ? `, ${this.failed} stopped` : "";
    this.box.querySelector("[data-words]").textContent =
      `${this.done} of ${this.number} files sent${stopped}`;
    this.box.querySelector("[data-bytes]").textContent = `${bytes(sent)} of ${bytes(this.total)}`;
    this.box.querySelector("[data-all]").value = this.total ? (100 * sent) / this.total : 100;
  }
}

async function filesOf(transfer) {
  const entries = [...transfer.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean);
  if (!entries.length) {
    return [...transfer.files];
  }
  const found = [];
  const walk = async (entry) => {
    if (entry.isFile) {
      found.push(await new Promise((resolve, reject) => entry.file(resolve, reject)));
      return;
    }
    const reader = entry.createReader();
    let part;
    do {
      part = await new Promise((resolve, reject) => reader.readEntries(resolve, reject));
      for (const inner of part) {
        await walk(inner);
      }
    } while (part.length);
  };
  for (const entry of entries) {
    await walk(entry);
  }
  return found;
}

function bring(form) {
  const sender = new Sender(form);
  const part = form.closest(".bring");
  const input = form.querySelector("input[type=file]");
  form.querySelector("[data-onto]").hidden = false;
  form.addEventListener("submit", (event) => {
    if (input.files.length) {
      event.preventDefault();
      const files = [...input.files];
      input.value = "";
      sender.send(files);
    }
  });
  part.addEventListener("dragover", (event) => {
    event.preventDefault();
    part.classList.add("bring--over");
  });
  part.addEventListener("dragleave", () => part.classList.remove("bring--over"));
  part.addEventListener("drop", async (event) => {
    event.preventDefault();
    part.classList.remove("bring--over");
    sender.send(await filesOf(event.dataTransfer));
  });
}

function sortByKey(form) {
  const ticks = [...form.querySelectorAll("input[type=checkbox]")];
  const all = form.querySelector("[data-tick-all]");
  all.hidden = false;
  all.addEventListener("click", () => {
    const wanted = ticks.some((tick) => !tick.checked);
    ticks.forEach((tick) => {
      tick.checked = wanted;
    });
    all.textContent = wanted ? "Tick none" : "Tick all";
  });
  let last = -1;
  form.addEventListener("click", (event) => {
    const at = ticks.indexOf(event.target);
    if (at < 0) {
      return;
    }
    if (event.shiftKey && last >= 0) {
      ticks.slice(Math.min(at, last), Math.max(at, last) + 1).forEach((tick) => {
        tick.checked = event.target.checked;
      });
    }
    last = at;
  });
  form.addEventListener("keydown", (event) => {
    const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    const from = ticks.indexOf(event.target);
    if (step && from >= 0 && ticks[from + step]) {
      event.preventDefault();
      ticks[from + step].focus();
      if (event.shiftKey) {
        ticks[from].checked = true;
        ticks[from + step].checked = true;
      }
      last = from + step;
    }
  });
}

const form = document.querySelector("form[data-drop]");
if (form && window.tus?.isSupported) {
  bring(form);
}
document.querySelectorAll("form[data-sorting]").forEach(sortByKey);
