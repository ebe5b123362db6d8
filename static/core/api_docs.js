// Shows the API's description. The viewer is an installed package's script, loaded before this one.
const place = document.getElementById("api");
const { schema, csrfHeader, csrfToken } = place.dataset;

window.SwaggerUIBundle({
  url: schema,
  domNode: place,
  presets: [window.SwaggerUIBundle.presets.apis],
  deepLinking: true,
  // Opened one by one: all at once are more than the viewer can show.
  docExpansion: "none",
  // Whoever is logged in may try a call out; the server wants to see that it comes from this page.
  requestInterceptor: (request) => {
    const ours = new URL(request.url, document.baseURI).origin === window.location.origin;
    if (ours && !["GET", "HEAD", undefined].includes(request.method)) {
      request.headers[csrfHeader] = csrfToken;
    }
    return request;
  },
});
