// Times of the server, which are UTC, as this phone's own clock shows them.

const today = new Intl.DateTimeFormat(undefined, { hour: "2-digit", minute: "2-digit" });
const earlier = new Intl.DateTimeFormat(undefined, { dateStyle: "short", timeStyle: "short" });

export function localTimes(part) {
  for (const time of part.querySelectorAll("time[datetime]")) {
    const moment = new Date(time.dateTime);
    const isToday = moment.toDateString() === new Date().toDateString();
    time.textContent = (isToday ? today : earlier).format(moment);
  }
}
