// The phone's own position, and a colony that was warned of taken instead of a new one.
const form = document.getElementById("collect");
const here = document.getElementById("here");
const says = document.getElementById("here-says");

function put(name, value) {
  const box = form.elements[name];
  box.value = value;
  box.dispatchEvent(new Event("change", { bubbles: true }));
}

function found({ coords }) {
  const within = Math.max(1, Math.ceil(coords.accuracy));
  put("latitude", coords.latitude.toFixed(6));
  put("longitude", coords.longitude.toFixed(6));
  put("uncertainty_m", String(within));
  says.textContent = says.dataset.got.replace("%s", String(within));
  here.disabled = false;
}

function failed(error) {
  const denied = error.code === error.PERMISSION_DENIED;
  says.textContent = denied ? says.dataset.denied : says.dataset.failed;
  here.disabled = false;
}

if (form && "geolocation" in navigator) {
  here.hidden = false;
  here.addEventListener("click", () => {
    says.textContent = says.dataset.asking;
    here.disabled = true;
    navigator.geolocation.getCurrentPosition(found, failed, {
      enableHighAccuracy: true,
      maximumAge: 0,
      timeout: 30000,
    });
  });
}

form?.addEventListener("click", (event) => {
  const code = event.target.closest?.("[data-take]")?.dataset.take;
  if (code) {
    form.elements["in-known"].checked = true;
    put("colony", code);
    form.elements.colony.focus();
  }
});
