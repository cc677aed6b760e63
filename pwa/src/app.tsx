import './style.css';
import './ui/keeper/keeper.css';
import { learn } from './core/say';

// Many modules say something as soon as they are loaded, so the words come first.
void learn().then(() => import('./ui/app'));
