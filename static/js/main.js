// Sends photos from this page and puts their results into it. Without this script the form does the same by loading anew.
import { send } from "./send.js";
import { Job } from "./job.js";
import { word } from "./words.js";

const form = document.getElementById("capture");
const results = document.getElementById("results");
const status = document.getElementById("status");
const mostBytes = Number(form.dataset.mostBytes);
let line = Promise.resolve(); // one photo after the other: the first result comes soonest

function enqueue(jobs) {
  // A later batch goes above the earlier ones, in its own order.
  results.prepend(...jobs.map((job) => job.element));
  for (const job of jobs) {
    line = line.then(() => run(job));
  }
  jobs[0].show();
}

async function run(job) {
  say(word("name-sending", { name: job.name }));
  const { onProgress, onSent } = job.start(() => say(word("name-measuring", { name: job.name })));
  const answer = await send(form.action, form.dataset.partHeader, job.fields, onProgress, onSent);
  const again = () => { line = line.then(() => run(job)); };
  if (answer === null) {
    job.fail("lost", again);
  } else {
    job.finish(answer, again);
  }
  say(job.summary);
}

function say(words) {
  status.textContent = words;
}

function photoJob(file) {
  const fields = new FormData();
  fields.append("photo", file, file.name);
  return new Job(file.name, fields);
}

function refuse(job) {
  results.prepend(job.element);
  job.fail("too-large");
  job.show();
  say(job.summary);
}

function choose(input) {
  const files = [...input.files];
  input.value = ""; // so that the same photo can be chosen again
  // Told here, before a minute of sending: the server would only close the connection.
  files.filter((file) => file.size > mostBytes).forEach((file) => refuse(photoJob(file)));
  const jobs = files.filter((file) => file.size <= mostBytes).map(photoJob);
  if (jobs.length) {
    enqueue(jobs);
  }
}

function tryExample(event) {
  const button = event.submitter;
  event.preventDefault();
  const fields = new FormData();
  fields.append(button.name, button.value);
  enqueue([new Job(button.innerText.trim(), fields)]);
}

document.documentElement.classList.add("scripted");
const inputs = [...form.querySelectorAll("input[type=file]")];
inputs.forEach((input) => input.addEventListener("change", () => choose(input)));
inputs.filter((input) => input.files.length).forEach(choose); // chosen before this script had come
document.querySelector("form.examples")?.addEventListener("submit", tryExample);
