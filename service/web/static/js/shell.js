/** Asks the browser to keep this page, so that it opens while the server is away. */

function ask(registration) {
  registration.active?.postMessage({ keep: window.location.pathname });
}

/** Browsers allow it on the laptop itself and over HTTPS with a certificate that they trust;
 * elsewhere the page works as before, but has to stay open. */
export async function keepThisPage() {
  if (!window.isSecureContext) {
    document.querySelector(".no-camera").append(
      " Browsers allow the live camera only over HTTPS or on the laptop itself.",
    );
  }
  if (!window.isSecureContext || !navigator.serviceWorker) return;
  navigator.serviceWorker.addEventListener("message", ({ data }) => {
    if (data.kept === window.location.pathname) document.body.dataset.opensAway = "yes";
  });
  try {
    await navigator.serviceWorker.register("/sw.js");
    const registration = await navigator.serviceWorker.ready;
    navigator.serviceWorker.addEventListener("controllerchange", () => ask(registration));
    ask(registration);
  } catch {
    /* the server is away, or the certificate is not trusted */
  }
}
