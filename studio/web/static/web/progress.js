// Follows a job that is still at work, then loads the page again: the server says what came of it.
"use strict";

const EVERY_MS = 1500;
const UNFINISHED = { queued: "Waiting for a worker", running: "At work" };

const section = document.querySelector("[data-job]");

async function look() {
  try {
    const answer = await fetch(section.dataset.job, { headers: { Accept: "application/json" }, cache: "no-store" });
    const job = answer.ok ? await answer.json() : null;
    if (!job || !(job.state in UNFINISHED)) {
      window.location.reload();
      return;
    }
    section.querySelector("[data-say=state]").textContent = UNFINISHED[job.state];
    section.querySelector("[data-say=message]").textContent = job.message ? `: ${job.message}` : "";
    section.querySelector("progress").value = Math.round(job.progress * 100);
  } catch {
    // The studio cannot be reached just now: the next look may.
  }
  window.setTimeout(look, EVERY_MS);
}

if (section) window.setTimeout(look, EVERY_MS);
