// The lints of the page's script; .ci/run copies this file to where the linter is installed.
import js from "@eslint/js";
import globals from "globals";

export default [
  js.configs.recommended,
  {
    languageOptions: { sourceType: "module", globals: globals.browser },
    linterOptions: { reportUnusedDisableDirectives: "error" },
    rules: {
      eqeqeq: "error",
      "max-len": ["error", 118],
      "max-lines": ["error", 250],
      "no-shadow": "error",
      "no-var": "error",
      "prefer-const": "error",
    },
  },
];
