// Renders the contract of the service that served this page; "Try it out" asks that service.

// Changes to Swagger UI without which assistive technology and keyboards stumble.
const accessible = ({ React: { createElement: h } }) => {
  const labelled = (Field) => (props) =>
    h("label", null, h("span", { className: "unseen" }, props.description || "Value"), h(Field, props));
  return {
    components: {
      DeepLink: ({ className, text }) => h("span", { className }, text), // a link inside a button
      ServersContainer: () => null, // a list, without a label, of the one server there is
    },
    wrapComponents: {
      JsonSchema_boolean: labelled,
      JsonSchema_string: labelled,
      JsonSchemaArrayItemText: labelled,
      TextArea: labelled,
      Button: (Button) => ({ "aria-label": label, ...props }) =>
        h(Button, typeof props.children === "string" ? props : { "aria-label": label, ...props }), // named as it reads
      CloseIcon: (Icon) => (props) => h("span", null, h(Icon, props), h("span", { className: "unseen" }, "Close")),
      HighlightCode: (Code) => (props) => h("div", { className: "scrolls", tabIndex: 0, role: "group", "aria-label": "Code" }, h(Code, props)),
    },
  };
};

// "Try it out" fills every parameter with its example. Those that may be left out are
// left out: all filters at once find nothing.
const onlyRequired = () => ({
  statePlugins: {
    spec: {
      wrapActions: {
        updateJsonSpec: (update) => (spec) => {
          for (const parameter of Object.values(spec.components?.parameters ?? {})) {
            if (!parameter.required && parameter.example !== undefined) {
              parameter.description += `\n\nExample: \`${parameter.example}\``;
              delete parameter.example;
            }
          }
          return update(spec);
        },
      },
    },
  },
});

SwaggerUIBundle({
  url: "openapi.yaml",
  dom_id: "#docs",
  deepLinking: true,
  validatorUrl: null, // the badge would ask a service outside
  defaultModelsExpandDepth: 0,
  displayRequestDuration: true,
  syntaxHighlight: false,
  plugins: [accessible, onlyRequired],
});
